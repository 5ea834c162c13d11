/* The map of a region. */
#include "report/verify_map.h"

#include <inttypes.h>

#include "base/number.h"
#include "base/size.h"
#include "base/text.h"

enum { CELLS_A_ROW = 64 };

/* One letter a class, in the order of enum damage_class. */
static const char letters[DAMAGE_CLASSES + 1] = ".UBSMTHEF";

static char cell_letter(const struct damage_totals *t, size_t i)
{
	if (!t->cell_judged[i])
		return ' ';
	if (!t->cell_damaged[i])
		return letters[DAMAGE_NONE];
	if (!number_is_power_of_two(t->cell_classes[i]))
		return '*';
	return letters[__builtin_ctz(t->cell_classes[i])];
}

static void add_legend(struct text *t, const struct damage_totals *totals)
{
	char size[SIZE_TEXT_MAX];
	uint32_t met = 0;
	bool several = false, room = false;

	text_addf(t, "  one character for %s: '.' right", size_format(size, totals->cell_bytes));
	for (size_t i = 0; i < DAMAGE_MAP_CELLS; i++) {
		met |= totals->cell_classes[i];
		several |= cell_letter(totals, i) == '*';
		room |= !totals->cell_judged[i] && i * totals->cell_bytes < totals->region_bytes;
	}
	text_adds(t, room ? ", blank not judged\n" : "\n");
	if (!met)
		return;
	text_adds(t, "  damaged:");
	for (int c = DAMAGE_NONE + 1; c < DAMAGE_CLASSES; c++)
		if (met & 1U << c)
			text_addf(t, " %c %s", letters[c], damage_class_name((enum damage_class)c));
	text_adds(t, several ? " * several\n" : "\n");
}

void verify_map_add(struct text *t, const struct damage_totals *totals)
{
	uint64_t end = totals->region_start + totals->region_bytes;

	for (size_t row = 0; row < DAMAGE_MAP_CELLS; row += CELLS_A_ROW) {
		uint64_t at = totals->region_start + row * totals->cell_bytes;
		char size[SIZE_TEXT_MAX];

		if (at >= end)
			break;
		text_addf(t, "  %10s |", size_format_decimal(size, (double)at));
		for (size_t i = row; i < row + CELLS_A_ROW; i++) {
			char c = cell_letter(totals, i);

			text_add(t, totals->region_start + i * totals->cell_bytes < end ? &c : "|",
				1);
			if (totals->region_start + i * totals->cell_bytes >= end)
				break;
			if (i == row + CELLS_A_ROW - 1)
				text_adds(t, "|");
		}
		text_adds(t, "\n");
	}
	add_legend(t, totals);
}
