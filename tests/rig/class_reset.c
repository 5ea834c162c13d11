/* The host's side of Bulk-Only Mass Storage Reset, as far as its driver lets one: asks for it, or breaks a read off.
 *
 *   class_reset ask DISK         SG_SCSI_RESET of the device, and nothing more where that fails (Linux scsi_ioctl.c)
 *   class_reset break DISK MS    a READ(10) of 120 KiB that gets so many milliseconds
 *
 * Prints what came of it, then what TEST UNIT READY is answered, twice. */
#include <errno.h>
#include <fcntl.h>
#include <scsi/sg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

enum { BLOCKS = 240, ESCALATE_NOT = 0x100 };

static unsigned char sense[32], data[BLOCKS * 512];

static void show(int fd, unsigned char *cdb, unsigned char n, unsigned length, unsigned ms)
{
	struct sg_io_hdr h = { .interface_id = 'S',
		.dxfer_direction = length ? SG_DXFER_FROM_DEV : SG_DXFER_NONE,
		.cmd_len = n,
		.mx_sb_len = sizeof sense,
		.dxfer_len = length,
		.dxferp = data,
		.cmdp = cdb,
		.sbp = sense,
		.timeout = ms };

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
	unsigned char tur[6] = { 0 }, read[10] = { 0x28, [8] = BLOCKS };
	int fd = argc >= 3 ? open(argv[2], O_RDWR | O_NONBLOCK) : -1,
	    how = SG_SCSI_RESET_DEVICE | ESCALATE_NOT;

	if (fd < 0)
		return 2;
	show(fd, tur, 6, 0, 5000);
	if (argc > 3)
		show(fd, read, 10, sizeof data, (unsigned)atoi(argv[3]));
	else if (ioctl(fd, SG_SCSI_RESET, &how) < 0)
		printf("reset: %s;", strerror(errno));
	else
		printf("reset: done;");
	for (int i = 0; i < 2; i++)
		show(fd, tur, 6, 0, 5000);
	puts("");
	return 0;
}
