#include "support/view_check.h"

#include <check.h>
#include <stdio.h>
#include <string.h>

#include "findings/record_view.h"
#include "findings/run_findings.h"

enum { CODES_MAX = 200 };

static const struct finding_code *noted[CODES_MAX];
static size_t noted_count;

static bool is_noted(const struct finding_code *code)
{
	for (size_t i = 0; i < noted_count; i++)
		if (noted[i] == code)
			return true;
	return false;
}

static bool ends_in(const char *s, const char *end)
{
	size_t n = strlen(s), m = strlen(end);

	return n >= m && !strcmp(s + n - m, end);
}

/* The unit in the key, as blkassay-json(5) promises. */
static void check_unit(const char *key, struct value v)
{
	const char *wanted = NULL;

	if (!v.known)
		return;
	if (v.unit == UNIT_SECONDS || v.unit == UNIT_NANOSECONDS)
		wanted = "seconds";
	else if (v.unit == UNIT_BYTES || v.unit == UNIT_BYTES_MEAN || v.unit == UNIT_BYTES_DECIMAL)
		wanted = "bytes";
	else if (v.unit == UNIT_BYTES_PER_SECOND)
		wanted = "bytes_per_second";
	if (wanted)
		ck_assert_msg(ends_in(key, wanted), "%s holds %s", key, wanted);
	if (v.unit == UNIT_SHARE || v.unit == UNIT_SHARE_COUNTED)
		ck_assert_msg(strstr(key, "share") != NULL, "%s holds a share", key);
	ck_assert_msg(!value_is_for_people(v), "%s holds a range: give its ends keys", key);
}

static void check_table(const struct table *t)
{
	for (size_t c = 0; c < t->spec->column_count; c++)
		for (size_t i = 0; t->spec->columns[c].key && i < t->count; i++)
			check_unit(
				t->spec->columns[c].key, table_value(t, i, &t->spec->columns[c]));
}

static void check_figures(const struct finding *f)
{
	char given[600] = "", *end = given;

	for (size_t i = 0; i < f->figure_count; i++) {
		check_unit(f->figures[i].key, f->figures[i].value);
		end += snprintf(end, sizeof given - (size_t)(end - given), "%s%s", i ? " " : "",
			f->figures[i].key);
	}
	ck_assert_str_eq(given, f->code->figures ? f->code->figures : "");
}

void view_check(const struct view *v)
{
	ck_assert_uint_gt(v->findings.count, 0);
	for (size_t i = 0; i < v->findings.count; i++) {
		const struct finding *f = &v->findings.list[i];

		/* After a gate's answer comes what the comparison itself would have said first. */
		ck_assert_msg(f->code->verdict || i > 0, "%s", f->code->code);
		check_figures(f);
		if (!is_noted(f->code) && noted_count < CODES_MAX)
			noted[noted_count++] = f->code;
	}
	for (size_t i = 0; i < v->table_count; i++)
		check_table(&v->tables[i]);
}

void view_check_all_codes(const char *kind)
{
	for (size_t i = 0; !strcmp(kind, "run") && i < run_finding_code_count; i++)
		ck_assert_msg(is_noted(&run_finding_codes[i]), "%s", run_finding_codes[i].code);
	for (size_t k = 0; k < view_kind_count; k++)
		for (size_t i = 0;
			!strcmp(view_kinds[k].kind, kind) && i < *view_kinds[k].code_count; i++)
			ck_assert_msg(is_noted(&view_kinds[k].codes[i]), "no test brings out %s",
				view_kinds[k].codes[i].code);
	noted_count = 0;
}
