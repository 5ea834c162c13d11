/* The host's side of Bulk-Only Mass Storage Reset, as far as its driver lets one.
 *
 *   class_reset idle DISK       asks for it when nothing is going on: SG_SCSI_RESET of the device, and nothing more where that
 *                               fails (Linux scsi_ioctl.c)
 *   class_reset hung DISK       sends a command that nobody knows (C1h), and waits until the host has done about it what it
 *                               does
 *
 * Prints, on one line, what TEST UNIT READY was answered before, what came of it, and what TEST UNIT READY is answered then,
 * twice: "host 0" is GOOD, "host 3" no answer in time (Linux scsi_status.h). SG_IO waits seven seconds at least
 * (BLK_MIN_SG_TIMEOUT), so no command that goes on is broken off by it. */
#include <errno.h>
#include <fcntl.h>
#include <scsi/sg.h>
#include <stdio.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

enum { ESCALATE_NOT = 0x100, PATIENCE_MS = 7000 };

static void show(int fd, unsigned char opcode)
{
	unsigned char cdb[6] = { opcode }, sense[32];
	struct sg_io_hdr h = { .interface_id = 'S',
		.dxfer_direction = SG_DXFER_NONE,
		.cmd_len = sizeof cdb,
		.mx_sb_len = sizeof sense,
		.cmdp = cdb,
		.sbp = sense,
		.timeout = PATIENCE_MS };

	memset(sense, 0, sizeof sense);
	if (ioctl(fd, SG_IO, &h) < 0)
		printf("%02X: %s;", cdb[0], strerror(errno));
	else if (h.sb_len_wr)
		printf("%02X: sense %02X/%02X/%02X;", cdb[0], sense[2], sense[12], sense[13]);
	else
		printf("%02X: host %u;", cdb[0], h.host_status);
	fflush(stdout);
}

int main(int argc, char **argv)
{
	int fd = argc == 3 ? open(argv[2], O_RDWR | O_NONBLOCK) : -1,
	    how = SG_SCSI_RESET_DEVICE | ESCALATE_NOT;

	if (fd < 0) {
		fputs("usage: class_reset idle|hung DISK\n", stderr);
		return 2;
	}
	show(fd, 0x00);
	if (!strcmp(argv[1], "hung"))
		show(fd, 0xC1);
	else
		printf("reset: %s;", ioctl(fd, SG_SCSI_RESET, &how) < 0 ? strerror(errno) : "done");
	show(fd, 0x00);
	show(fd, 0x00);
	puts("");
	return 0;
}
