/* The host's side: commands from a list to a target. */
#include "gadget/ask.h"

#include <errno.h>
#include <inttypes.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/buffer.h"
#include "base/checksum.h"
#include "base/error.h"
#include "base/number.h"
#include "base/text.h"
#include "gadget/control.h"
#include "medium/medium.h"
#include "medium/scsi.h"
#include "medium/scsi_sense.h"

enum { ROOM = 128 * 1024, PATIENCE_MS = 3000, FILLER = 0xA5 };

enum { WORDS_MAX = 20 };

/* A line in words; NULL behind the last. */
struct words {
	char text[256];
	char *word[WORDS_MAX + 1];
};

static void split(struct words *w, const char *line)
{
	char *save = NULL;
	size_t n = 0;

	*w = (struct words){ { 0 }, { NULL } };
	text_copy(w->text, sizeof w->text, line);
	for (char *at = strtok_r(w->text, " ", &save); at && n < WORDS_MAX;
		at = strtok_r(NULL, " ", &save))
		w->word[n++] = at;
}

static int read_hex(char *const *word, struct scsi_exchange *x)
{
	for (; *word && x->cdb_length < SCSI_CDB_MAX; word++) {
		char *end;
		unsigned long byte = strtoul(*word, &end, 16);

		if (*end || end == *word || byte > 0xFF)
			return -1;
		x->cdb[x->cdb_length++] = (uint8_t)byte;
	}
	return x->cdb_length ? 0 : -1;
}

/* The text of sense data says all that is compared. */
static void show_exchange(const struct scsi_exchange *x)
{
	char text[SCSI_SENSE_TEXT_MAX] = "none";
	struct scsi_sense sense;
	uint32_t moved = scsi_transferred(x);

	scsi_sense_decode(&sense, x->sense, x->sense_length);
	if (sense.valid)
		scsi_sense_format(text, &sense);
	printf("host=%u status=%02X residual=%" PRIu32 " sense='%s'", x->host_status, x->status,
		x->residual, text);
	if (x->direction == SCSI_DATA_IN && scsi_succeeded(x) && moved)
		printf(" crc=%08" PRIX32, checksum_crc32(0, x->data, moved));
	puts("");
}

/* Requests go past the tool's guard over the medium's identity, which an eject would end them by. */
static int exchange(struct medium *m, const struct words *w, void *data)
{
	struct scsi_exchange x = { .timeout_ms = PATIENCE_MS, .data = data };
	const char *way = w->word[0];
	uint64_t n;
	int rc;

	if (!w->word[1] || number_parse_u64(w->word[1], &n) < 0 || n > ROOM ||
		read_hex(w->word + 2, &x) < 0)
		return -1;
	x.data_length = (uint32_t)n;
	x.direction = !strcmp(way, "in")    ? SCSI_DATA_IN
		      : !strcmp(way, "out") ? SCSI_DATA_OUT
					    : SCSI_NO_DATA;
	memset(data, x.direction == SCSI_DATA_OUT ? FILLER : 0, ROOM);
	rc = m->ops->scsi ? m->ops->scsi(m, &x) : -ENOTSUP;
	if (rc < 0)
		printf("refused by the host: %s\n", strerror(-rc));
	else
		show_exchange(&x);
	return 0;
}

static int block_io(struct medium *m, const struct words *w, void *data)
{
	const char *verb = w->word[0];
	uint64_t at = 0, n = 0;
	size_t got = 0;
	int rc;

	if (w->word[1] && (number_parse_u64(w->word[1], &at) < 0 || !w->word[2] ||
				  number_parse_u64(w->word[2], &n) < 0 || n > ROOM))
		return -1;
	if (!strcmp(verb, "flush"))
		rc = m->ops->flush(m);
	else if (!strcmp(verb, "write"))
		rc = m->ops->write(m, at, memset(data, FILLER, ROOM), n, &got);
	else if (!strcmp(verb, "read"))
		rc = m->ops->read(m, at, data, n, &got);
	else
		return -1;
	printf("%s got=%zu", rc < 0 ? strerror(-rc) : "fine", got);
	if (!rc && !strcmp(verb, "read"))
		printf(" crc=%08" PRIX32, checksum_crc32(0, data, got));
	puts("");
	return 0;
}

/* A model begins to count when it is opened; a gadget on the bus has served the kernel before. */
static void recount(const struct medium *m)
{
	char word[] = "recount", *order[] = { word };
	int status = medium_traits(m)->kind == MEDIUM_MODEL ? 0 : control_tell(1, order);

	puts(status ? "failed" : "done");
}

static bool is_scsi(const struct words *w)
{
	return !strcmp(w->word[0], "in") || !strcmp(w->word[0], "out") ||
	       !strcmp(w->word[0], "none");
}

static int answer_lines(struct medium *m, void *data, struct error *err)
{
	char line[256];

	while (fgets(line, sizeof line, stdin)) {
		struct words w;

		line[strcspn(line, "\n")] = 0;
		split(&w, line);
		if (!w.word[0] || *w.word[0] == '#')
			continue;
		printf("%s: ", line);
		if (!strcmp(w.word[0], "recount")) {
			recount(m);
			continue;
		}
		if ((is_scsi(&w) ? exchange(m, &w, data) : block_io(m, &w, data)) < 0)
			return error_set(err, ERROR_USAGE, "'%s' is no such command", line);
	}
	return 0;
}

int ask_all(const char *target, struct error *err)
{
	struct medium *m;
	void *data;
	int rc;

	if (medium_open(&m, target, MEDIUM_READ_WRITE, err) < 0)
		return -1;
	data = buffer_new(ROOM, 4096);
	rc = data ? answer_lines(m, data, err) : error_set(err, ERROR_IO, "out of memory");
	free(data);
	medium_close(m);
	return rc;
}
