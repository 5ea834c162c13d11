/* Fuzz: records of verify, audit, observe and cut, and of sweeps compared with themselves, turned into words. The first
 * letter of the input says which: v, a, o, j or c. */
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "base/text.h"
#include "findings/compared.h"
#include "findings/record_view.h"
#include "fuzz.h"
#include "report/csv.h"
#include "report/json.h"
#include "report/page.h"
#include "report/sink.h"
#include "report/text_lines.h"
#include "report/text_view.h"

static const struct text_style style = { .columns = 80 };

/* CSV and JSON go to programs: whatever they say is for them to clean, but it is whole. */
static int drop(void *context, struct text *t, struct error *err)
{
	(void)context;
	(void)err;
	if (strlen(t->bytes) != t->length)
		abort();
	text_reset(t);
	return 0;
}

static void draw(struct text *t, struct view *v)
{
	static const struct sink sink = { NULL, drop };
	struct error err = { 0 };
	struct text other;

	text_view_add(t, v, &style, &err);
	text_init(&other);
	csv_add_view(&other, v, true, &sink, &err);
	json_add_view(&other, v, &sink, &err);
	page_add_view(&other, v, 0);
	drop(NULL, &other, NULL);
	text_release(&other);
	view_release(v);
}

static void show(struct text *t, const char *path)
{
	struct error err = { 0 };
	struct view v;

	if (record_view(&v, path, &err) == 0)
		draw(t, &v);
}

static void compare(struct text *t, const uint8_t *data, size_t size, const char *base)
{
	struct gate_request gate = { .given = true, .allowed = 0.05 };
	struct error err = { 0 };
	struct compared c;
	struct view v;
	char path[64];
	int fd = fuzz_record(path, "sweep", data, size);

	compared_init(&c, 1, 1, true);
	if (compared_take(&c, COMPARE_BASE, base, &err) == 0 &&
		compared_take(&c, COMPARE_NEW, path, &err) == 0 && compared_finish(&c, &err) == 0 &&
		compared_gate(&c, &gate, &err) == 0 && compare_view(&v, &c, &gate, &err) == 0)
		draw(t, &v);
	compared_release(&c);
	close(fd);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static const char letters[] = "vaojc";
	static const char *const kinds[] = { "verify", "audit", "observe", "journal", "sweep" };
	const char *letter = size && data[0] ? strchr(letters, data[0]) : NULL;
	struct text t;
	char path[64];
	int fd;

	if (!letter)
		return -1; /* not worth keeping */
	fd = fuzz_record(path, kinds[letter - letters], data + 1, size - 1);
	text_init(&t);
	if (*letter != 'c')
		show(&t, path);
	else
		compare(&t, data + 1, size - 1, path);
	/* Nothing but plain text reaches the terminal. */
	for (size_t i = 0; i < t.length; i++)
		if (t.bytes[i] != '\n' && (t.bytes[i] < ' ' || t.bytes[i] > '~'))
			abort();
	text_release(&t);
	close(fd);
	return 0;
}
