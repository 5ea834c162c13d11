/* Fuzz: whatever a record says, its views and its explanation come out whole, and nothing in it reaches a terminal
 * or a browser as more than text. */
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "base/text.h"
#include "findings/explain_view.h"
#include "findings/sweep_view.h"
#include "fuzz.h"
#include "record/run.h"
#include "report/csv.h"
#include "report/json.h"
#include "report/page.h"
#include "report/sink.h"
#include "report/text_lines.h"
#include "report/text_view.h"

static const struct text_style style = { .columns = 80 };

static void must_be_plain(const struct text *t)
{
	if (strlen(t->bytes) != t->length)
		abort();
	for (size_t i = 0; i < t->length; i++)
		if (t->bytes[i] != '\n' && (t->bytes[i] < ' ' || t->bytes[i] > '~'))
			abort();
}

/* For programs: whole, and nothing that a terminal would obey in JSON. */
static int must_be_whole(void *context, struct text *t, struct error *err)
{
	(void)context;
	(void)err;
	if (strlen(t->bytes) != t->length || strchr(t->bytes, '\033'))
		abort();
	text_reset(t);
	return 0;
}

static void draw(const struct view *v)
{
	static const struct sink sink = { NULL, must_be_whole };
	struct error err = { 0 };
	struct text t;

	text_init(&t);
	if (text_view_add(&t, v, &style, &err) == 0)
		must_be_plain(&t);
	text_reset(&t);
	csv_add_view(&t, v, true, &sink, &err);
	json_add_view(&t, v, &sink, &err);
	page_begin(&t, v->title, v->findings.list[0].sentence);
	page_add_view(&t, v, 0);
	page_end(&t);
	/* The tests' record says "<script>" in every text; see the corpus. */
	if (strlen(t.bytes) != t.length || strstr(t.bytes, "<script"))
		abort();
	text_release(&t);
}

static void explain(const struct run *run)
{
	struct explain_known known = { .usual_bytes = 4096, .copy_bytes = 50000000 };
	struct error err = { 0 };
	struct explanation e;
	struct view v;

	if (explanation_make(&e, run, &known, &err) < 0)
		return;
	if (explain_view(&v, run, &e, NULL, &err) == 0) {
		draw(&v);
		view_release(&v);
	}
	explanation_release(&e);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct error err = { 0 };
	struct run run = { 0 };
	struct view v;
	char path[64];
	int fd = fuzz_record(path, "sweep", data, size);

	if (run_load(&run, path, &err) == 0) {
		explain(&run);
		if (sweep_view(&v, &run, &err) == 0) {
			draw(&v);
			view_release(&v);
		}
	}
	run_release(&run);
	close(fd);
	return 0;
}
