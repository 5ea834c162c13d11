/* What the fuzz harnesses share. */
#include "fuzz.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include "base/checksum.h"
#include "base/text.h"
#include "record/file.h"

int fuzz_file(char path[64], const uint8_t *data, size_t size)
{
	int fd = memfd_create("fuzz", MFD_CLOEXEC);

	if (fd < 0)
		abort();
	for (size_t done = 0; done < size;) {
		ssize_t n = write(fd, data + done, size - done);

		if (n <= 0)
			abort();
		done += (size_t)n;
	}
	snprintf(path, 64, "/proc/self/fd/%d", fd);
	return fd;
}

static void add_line(struct text *t, unsigned long long number, const char *rest, size_t length)
{
	size_t start = t->length;

	text_addf(t, "%llu ", number);
	text_add(t, rest, length);
	text_addf(t, " ~%08X\n", checksum_crc32(0, t->bytes + start, t->length - start));
}

int fuzz_record(char path[64], const char *kind, const uint8_t *data, size_t size)
{
	unsigned long long number = 1;
	int version = RECORD_VERSION;
	struct text t;
	char head[96];
	int fd;

	if (size && data[0] == '!')
		return fuzz_file(path, data + 1, size - 1);
	text_init(&t);
	if (size && data[0] == '@') {
		version = 1;
		data++;
		size--;
	}
	snprintf(head, sizeof head, "blkassay-record version=%d kind=%s", version, kind);
	add_line(&t, number++, head, strlen(head));
	while (size) {
		const uint8_t *end = memchr(data, '\n', size);
		size_t n = end ? (size_t)(end - data) : size;

		add_line(&t, number++, (const char *)data, n);
		data += n + (end != NULL);
		size -= n + (end != NULL);
	}
	fd = fuzz_file(path, (const uint8_t *)t.bytes, t.length);
	text_release(&t);
	return fd;
}
