/* What is on a target, in words. */
#include "cli/contents.h"

#include <errno.h>
#include <fcntl.h>
#include <unistd.h>

#include "base/size.h"
#include "base/text.h"
#include "cli/message.h"
#include "medium/medium.h"
#include "platform/blockdev.h"
#include "platform/filesystem.h"

static void add_name(struct text *t, const struct filesystem *f)
{
	char size[SIZE_TEXT_MAX];

	text_adds(t, f->kind);
	if (*f->label)
		text_addf(t, " '%s'", f->label);
	if (f->bytes)
		text_addf(t, ", %s", size_format_decimal(size, (double)f->bytes));
}

static int read_node(void *context, uint64_t at, void *buf, size_t length)
{
	ssize_t n = pread(*(int *)context, buf, length, (off_t)at);

	return n == (ssize_t)length ? 0 : n < 0 ? -errno : -EIO;
}

void contents_add(struct text *t, const struct blockdev *d)
{
	/* Past the host's cache, which may hold another card's blocks. */
	int fd = open(d->node, O_RDONLY | O_DIRECT | O_NONBLOCK | O_CLOEXEC), n;
	struct filesystem list[FILESYSTEMS_MAX];

	if (fd < 0)
		return;
	n = filesystems_find(list, read_node, &fd, d->size_bytes, d->logical_block_bytes);
	close(fd);
	if (n == 0)
		text_adds(t, "nothing that is recognised");
	for (int i = 0; i < n; i++) {
		text_adds(t, i ? "; " : "");
		add_name(t, &list[i]);
	}
}

static int read_medium(void *context, uint64_t at, void *buf, size_t length)
{
	size_t got = 0;
	int rc = medium_read(context, at, buf, length, &got);

	return rc < 0 ? rc : got == length ? 0 : -EIO;
}

/* "all of it lies", "1.05 MB of it lies", "none of it lies" */
static void add_share(struct text *t, const struct filesystem *f, uint64_t start, uint64_t bytes)
{
	uint64_t from = f->start > start ? f->start : start, share = 0;
	uint64_t end = f->start + f->bytes < start + bytes ? f->start + f->bytes : start + bytes;
	char size[SIZE_TEXT_MAX];

	if (end > from)
		share = end - from;
	if (!share)
		text_adds(t, "none of it lies");
	else if (share == f->bytes)
		text_adds(t, "all of it lies");
	else
		text_addf(t, "%s of it lies", size_format_decimal(size, (double)share));
}

void contents_tell(struct medium *m, uint64_t region_start, uint64_t region_bytes)
{
	const struct medium_traits *traits = medium_traits(m);
	struct filesystem list[FILESYSTEMS_MAX];
	int n = filesystems_find(
		list, read_medium, m, traits->size_bytes, traits->logical_block_bytes);
	struct text t;

	for (int i = 0; i < n; i++) {
		text_init(&t);
		add_name(&t, &list[i]);
		text_adds(&t, "; ");
		if (list[i].bytes)
			add_share(&t, &list[i], region_start, region_bytes);
		else
			text_addf(&t, "it begins at byte %llu, and some of it may lie",
				(unsigned long long)list[i].start);
		message_note("on the target: %s in the region that is given up", t.bytes);
		text_release(&t);
	}
}
