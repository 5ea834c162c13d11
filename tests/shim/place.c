#include "shim/place.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <linux/fs.h>
#include <linux/loop.h>
#include <sched.h>
#include <signal.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/mount.h>
#include <sys/prctl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "shim/files.h"

static struct {
	char file[64]; /* with the card's bytes */
	char target[64], token[160];
	int loop; /* of our own on `file`; -1: an image */
} place = { .file = "card.img", .target = "card.img", .loop = -1 };

/* A new loop device on `file`, its path in `node`; it is detached when the last descriptor is closed. */
static int attach(const char *file, uint64_t offset, char node[64])
{
	int control = open("/dev/loop-control", O_RDWR | O_CLOEXEC);
	int fd = open(file, O_RDWR | O_CLOEXEC), loop = -1;

	if (control < 0 || fd < 0)
		file_die(control < 0 ? "/dev/loop-control" : file);
	for (int tries = 0; tries < 100; tries++) {
		struct loop_config config = { .fd = (uint32_t)fd,
			.info = { .lo_offset = offset, .lo_flags = LO_FLAGS_AUTOCLEAR } };
		int number = ioctl(control, LOOP_CTL_GET_FREE);

		snprintf(node, 64, "/dev/loop%d", number);
		loop = number < 0 ? -1 : open(node, O_RDWR | O_CLOEXEC);
		if (loop >= 0 && ioctl(loop, LOOP_CONFIGURE, &config) == 0)
			break;
		if (loop >= 0 && errno != EBUSY) /* another job took it first */
			file_die(node);
		if (loop >= 0)
			close(loop);
		loop = -1;
		usleep(20000);
	}
	if (loop < 0)
		file_die("a free loop device");
	close(fd);
	close(control);
	return loop; /* kept open until the end */
}

/* In a mount namespace of its own kept-twin lies where this folder lies here, so that the device's file has the path of
 * ours and is another one. */
static void attach_elsewhere(const char *folder, int answer)
{
	char node[64];

	if (prctl(PR_SET_PDEATHSIG, SIGKILL) < 0 || unshare(CLONE_NEWNS) < 0 ||
		mount(NULL, "/", NULL, MS_REC | MS_PRIVATE, NULL) < 0 ||
		mount("kept-twin", folder, NULL, MS_BIND, NULL) < 0 || chdir(folder) < 0)
		file_die("a mount namespace");
	attach(place.file, 0, node);
	if (write(answer, node, sizeof node) != (ssize_t)sizeof node)
		_exit(1);
	for (;;)
		pause(); /* without the namespace the path would be another */
}

static void make_twin(void)
{
	char path[100], folder[PATH_MAX], node[64];
	int ends[2];
	pid_t child;

	if (mkdir("kept-twin", 0777) < 0 || !getcwd(folder, sizeof folder) || pipe(ends) < 0)
		file_die("kept-twin");
	snprintf(path, sizeof path, "kept-twin/%s", place.file);
	file_write(path, "", 0);
	if (truncate(path, CARD_BYTES) < 0)
		file_die(path);
	child = fork();
	if (!child)
		attach_elsewhere(folder, ends[1]);
	close(ends[1]);
	if (child < 0 || read(ends[0], node, sizeof node) != (ssize_t)sizeof node)
		file_die("a twin");
	close(ends[0]);
}

/* CRC-32 of RFC 1952, bit by bit: the tool's own is not to check itself. */
static uint32_t crc32_of(const char *text)
{
	uint32_t crc = 0xFFFFFFFF;

	for (; *text; text++) {
		crc ^= (unsigned char)*text;
		for (int i = 0; i < 8; i++)
			crc = crc >> 1 ^ (crc & 1 ? 0xEDB88320 : 0);
	}
	return ~crc;
}

/* Of the file at `path`, of `bytes` when it is below a loop device (0: an image). */
static void make_token(const char *path, int bytes)
{
	char full[PATH_MAX], size[16] = "";

	if (!realpath(path, full))
		file_die(path);
	if (bytes)
		snprintf(size, sizeof size, "-%d", bytes);
	snprintf(place.token, sizeof place.token, "%s-%08x%s", strrchr(full, '/') + 1,
		crc32_of(full), size);
}

bool place_make(enum place p)
{
	char second[64] = "";

	if (p == PLACE_IMAGE) {
		file_write(place.file, "", 0); /* a path has to lead to it */
		make_token(place.file, 0);
		return true;
	}
	if (geteuid() != 0 || access("/dev/loop-control", R_OK | W_OK) < 0)
		return false;
	snprintf(place.file, sizeof place.file, "kept-card-%ld.img", (long)getpid());
	file_write(place.file, "", 0);
	if (truncate(place.file, CARD_BYTES) < 0)
		file_die(place.file);
	place.loop = attach(place.file, 0, place.target);
	make_token(place.file, CARD_BYTES);
	if (p == PLACE_HELD_IMAGE) {
		snprintf(place.target, sizeof place.target, "%s", place.file);
		make_token(place.file, 0);
	}
	if (p == PLACE_HELD || p == PLACE_ALIAS)
		attach(place.target, 0, second);
	if (p == PLACE_BESIDE)
		attach(place.file, CARD_BYTES / 2, second);
	if (p == PLACE_TWIN)
		make_twin();
	if (p == PLACE_ALIAS) {
		make_token(place.target, CARD_BYTES);
		snprintf(place.target, sizeof place.target, "%s", second);
	}
	return true;
}

const char *place_target(void)
{
	return place.target;
}

const char *place_token(void)
{
	return place.token;
}

static const unsigned char *card(void)
{
	static unsigned char bytes[CARD_BYTES];
	uint32_t x = 12345;

	for (size_t i = 0; i < sizeof bytes; i++) {
		x = x * 1664525 + 1013904223; /* any generator does */
		bytes[i] = (unsigned char)(x >> 24);
	}
	return bytes;
}

/* In place: the file below a loop device must stay the same one. */
static void put(const void *bytes, size_t length, off_t at)
{
	int fd = open(place.file, O_WRONLY | O_CREAT | O_CLOEXEC, 0666);

	if (fd < 0 || pwrite(fd, bytes, length, at) != (ssize_t)length || close(fd) < 0)
		file_die(place.file);
	if (place.loop >= 0)
		(void)ioctl(place.loop, BLKFLSBUF, 0);
}

void place_fill(void)
{
	put(card(), CARD_BYTES, 0);
}

void place_damage(size_t block)
{
	static const unsigned char zeros[512];

	put(zeros, sizeof zeros, (off_t)(block * sizeof zeros));
}

bool place_is_filled(void)
{
	return file_is(place.file, card(), CARD_BYTES);
}
