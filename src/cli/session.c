/* A target opened for a command. First cut: images, loop devices and models; the guard, kept data and the room checks
 * replace this file whole. */
#include "cli/session.h"

#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "base/error.h"
#include "base/number.h"
#include "base/size.h"
#include "base/text.h"

static int parse_region(struct session *s, const struct options *o, struct error *err)
{
	const char *text = options_text(o, OPTION_REGION, NULL), *plus;
	uint64_t align = s->traits->offset_align_bytes, end;
	char start[40];

	s->region_start = 0;
	s->region_bytes = number_round_down(s->traits->size_bytes, align);
	if (!text)
		return 0;
	plus = strchr(text, '+');
	if (!plus || (size_t)(plus - text) >= sizeof start)
		return error_set(err, ERROR_USAGE,
			"--region '%s' is not START+LENGTH; write it like 0+64Mi", text);
	memcpy(start, text, (size_t)(plus - text));
	start[plus - text] = 0;
	if (size_parse(start, &s->region_start) < 0 || size_parse(plus + 1, &s->region_bytes) < 0 ||
		!s->region_bytes)
		return error_set(err, ERROR_USAGE,
			"--region '%s' is not START+LENGTH; write it like 0+64Mi", text);
	if (s->region_start % align || s->region_bytes % align)
		return error_set(err, ERROR_USAGE,
			"--region '%s': start and length must be multiples of %llu bytes", text,
			(unsigned long long)align);
	if (!number_add_u64(s->region_start, s->region_bytes, &end) || end > s->traits->size_bytes)
		return error_set(err, ERROR_USAGE,
			"--region '%s' ends past the target's %llu bytes", text,
			(unsigned long long)s->traits->size_bytes);
	return 0;
}

static int create_image(const char *path, uint64_t size, struct error *err)
{
	int fd = open(path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0666), rc;

	if (fd < 0)
		return error_sys(err, ERROR_USAGE, 17, "cannot create image '%s'", path);
	rc = posix_fallocate(fd, 0, (off_t)size);
	close(fd);
	if (rc) {
		unlink(path);
		return error_sys(err, ERROR_IO, rc, "cannot make image '%s'", path);
	}
	return 0;
}

int session_open(
	struct session *s, const struct options *o, enum session_need need, struct error *err)
{
	bool write = need == SESSION_WRITES;

	*s = (struct session){ 0 };
	if (write && o->given[OPTION_CREATE] &&
		create_image(o->args[0], o->number[OPTION_CREATE], err) < 0)
		return -1;
	if (medium_open(&s->medium, o->args[0], write ? MEDIUM_READ_WRITE : MEDIUM_READ_ONLY, err) <
		0)
		return -1;
	s->traits = medium_traits(s->medium);
	text_copy(s->token, sizeof s->token, s->traits->name);
	s->may_write =
		write &&
		(o->given[OPTION_CREATE] || s->traits->virtual_clock ||
			(o->given[OPTION_ERASE] && !strcmp(o->text[OPTION_ERASE], s->token)));
	if (parse_region(s, o, err) == 0) {
		if (!write || s->may_write)
			return 0;
		error_set(err, ERROR_REFUSED, "writing to '%s' needs consent: --erase %s",
			o->args[0], s->token);
	}
	medium_close(s->medium);
	*s = (struct session){ 0 };
	return -1;
}

int session_prepare_writes(struct session *s, const struct options *o, const char *record_path,
	uint64_t start, uint64_t bytes, double bytes_to_write, const struct watch *watch,
	struct error *err)
{
	(void)o, (void)record_path, (void)start, (void)bytes, (void)bytes_to_write, (void)watch;
	return s->may_write ? 0 : error_set(err, ERROR_REFUSED, "no consent to write");
}

int session_close(struct session *s, const struct watch *watch, struct error *err)
{
	(void)watch, (void)err;
	medium_close(s->medium);
	s->medium = NULL;
	return 0;
}

void session_describe(const struct session *s, struct run_target *out)
{
	static const char *const caches[] = { "unknown", "write through", "write back" };
	const struct medium_traits *t = s->traits;

	*out = (struct run_target){ .size_bytes = t->size_bytes,
		.logical_block_bytes = t->logical_block_bytes,
		.physical_block_bytes = t->physical_block_bytes,
		.request_limit_bytes = t->request_limit_bytes,
		.link_bits_per_second = t->link_bits_per_second,
		.fua = t->fua,
		.removable = t->removable,
		.read_only = t->read_only,
		.modelled = t->virtual_clock,
		.disk_sequence = t->disk_sequence };
	text_copy(out->kind, sizeof out->kind,
		t->kind == MEDIUM_BLOCK_DEVICE ? "device"
		: t->kind == MEDIUM_MODEL      ? "model"
					       : "image");
	text_copy(out->path, sizeof out->path, t->path);
	text_copy(out->name, sizeof out->name, t->name);
	text_copy(out->vendor, sizeof out->vendor, t->vendor);
	text_copy(out->model, sizeof out->model, t->model);
	text_copy(out->serial, sizeof out->serial, t->serial);
	text_copy(out->transport, sizeof out->transport, t->transport);
	text_copy(out->token, sizeof out->token, s->token);
	text_copy(out->cache, sizeof out->cache, caches[t->cache]);
}

int session_record_path(char *out, size_t room, const struct session *s, const struct options *o,
	const char *kind, struct error *err)
{
	time_t now = time(NULL);
	struct tm tm;
	char stamp[32];

	(void)s, (void)err;
	gmtime_r(&now, &tm);
	strftime(stamp, sizeof stamp, "%Y%m%dT%H%M%SZ", &tm);
	if (o->given[OPTION_OUT])
		text_copy(out, room, o->text[OPTION_OUT]);
	else
		snprintf(out, room, "blkassay-%s-%s.run", kind, stamp);
	return 0;
}
