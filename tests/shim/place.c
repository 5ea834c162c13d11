#include "shim/place.h"

#include <errno.h>
#include <fcntl.h>
#include <linux/fs.h>
#include <linux/loop.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "shim/files.h"

static struct {
	char file[64]; /* with the card's bytes */
	char target[64], token[100];
	int loop; /* of our own on `file`; -1: an image */
} place = { .file = "card.img", .target = "card.img", .token = "card.img", .loop = -1 };

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

static void make_twin(void)
{
	char path[100], node[64];

	if (mkdir("kept-twin", 0777) < 0)
		file_die("kept-twin");
	snprintf(path, sizeof path, "kept-twin/%s", place.file);
	file_write(path, "", 0);
	if (truncate(path, CARD_BYTES) < 0)
		file_die(path);
	attach(path, 0, node);
}

bool place_make(enum place p)
{
	char second[64] = "";

	if (p == PLACE_IMAGE)
		return true;
	if (geteuid() != 0 || access("/dev/loop-control", R_OK | W_OK) < 0)
		return false;
	snprintf(place.file, sizeof place.file, "kept-card-%ld.img", (long)getpid());
	file_write(place.file, "", 0);
	if (truncate(place.file, CARD_BYTES) < 0)
		file_die(place.file);
	place.loop = attach(place.file, 0, place.target);
	snprintf(place.token, sizeof place.token, "%s-%d", place.file, CARD_BYTES);
	if (p == PLACE_HELD_IMAGE) {
		snprintf(place.target, sizeof place.target, "%s", place.file);
		snprintf(place.token, sizeof place.token, "%s", place.file);
	}
	if (p == PLACE_HELD || p == PLACE_ALIAS)
		attach(place.target, 0, second);
	if (p == PLACE_BESIDE)
		attach(place.file, CARD_BYTES / 2, second);
	if (p == PLACE_TWIN)
		make_twin();
	if (p == PLACE_ALIAS) {
		snprintf(place.token, sizeof place.token, "%s-%d", strrchr(place.target, '/') + 1,
			CARD_BYTES);
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
