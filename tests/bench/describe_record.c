/* The lines of records as the tables of fields describe them, for the man pages: describe_record GROUP prints mdoc.
 * scripts/update-record-pages puts it in its place. */
#include <stdio.h>
#include <string.h>

#include "record/field.h"
#include "record/kinds.h"

enum { COLUMNS = 79 };

/* One sentence of running text, wrapped; none of its words is a request by accident. */
static void print_sentence(const char *text, size_t length)
{
	size_t column = 0;

	for (size_t at = 0; at < length;) {
		size_t n = strcspn(text + at, " ");

		if (at + n > length)
			n = length - at;
		if (column && column + 1 + n > COLUMNS) {
			putchar('\n');
			column = 0;
		}
		printf("%s%s%.*s", column ? " " : "",
			!column && (text[at] == '.' || text[at] == '\'') ? "\\&" : "", (int)n,
			text + at);
		column += (column > 0) + n;
		at += n + 1;
	}
	putchar('\n');
}

/* Sentences begin on a line of their own, as man pages are written. */
static void print_text(const char *text)
{
	while (*text) {
		const char *end = strstr(text, ". ");
		size_t n = end ? (size_t)(end - text) + 1 : strlen(text);

		print_sentence(text, n);
		text += n + (end != NULL);
	}
}

static void print_kind(const struct line_kind *k)
{
	printf(".It Cm %s\n", k->name);
	print_text(k->meaning);
	if (k->synced)
		puts("Synced.");
	if (!k->count)
		return;
	puts(".Bl -tag -width 22n -compact");
	for (size_t i = 0; i < k->count; i++) {
		printf(".It Cm %s\n", k->fields[i].key);
		print_text(k->fields[i].meaning);
	}
	if (k->closes)
		puts(".It Cm holds\nlines of each kind before it, see above");
	puts(".El");
}

int main(int argc, char **argv)
{
	for (size_t g = 0; argc == 2 && g < kind_group_count; g++) {
		if (strcmp(argv[1], kind_groups[g].name) != 0)
			continue;
		for (size_t i = 0; i < kind_groups[g].count; i++)
			print_kind(kind_groups[g].kinds[i]);
		return 0;
	}
	fprintf(stderr, "usage: describe_record GROUP; groups:");
	for (size_t g = 0; g < kind_group_count; g++)
		fprintf(stderr, " %s", kind_groups[g].name);
	fprintf(stderr, "\n");
	return 2;
}
