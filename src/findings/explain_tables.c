/* The tables of an explanation. */
#include <math.h>

#include "analysis/summary.h"
#include "base/number.h"
#include "findings/explain_view.h"

/* What is not more than nothing was not seen. */
static struct value positive_seconds(double s)
{
	return value_if(s > 0, value_seconds(s));
}

static struct value positive_rate(double r)
{
	return value_if(r > 0, value_rate(r));
}

static struct value amount(double bytes)
{
	return value_if(bytes >= 0 && bytes < 1e18, value_bytes_decimal(number_whole(bytes)));
}

static struct value direction_of(const struct explained *x)
{
	return value_word(run_direction_name(x->direction));
}

static struct value order_of(const struct explained *x)
{
	return value_word(run_order_name(x->order));
}

/* ---- lines ---- */

static struct value rate_range(const struct cost_line *l)
{
	struct rate_summary s = { .median = l->rate,
		.interval_known = true,
		.low = l->rate_bounds.low,
		.high = l->rate_bounds.high };
	bool known = l->known && isfinite(l->rate) && isfinite(s.low) && isfinite(s.high);

	return value_if(known, value_rate_range(&s));
}

#define LINE(function, expression) COLUMN_VALUE(function, struct explain_table, r, expression)
#define FIT(function, expression) LINE(function, value_if(r->x->line.known, expression))

LINE(line_name, value_word(r->name))
LINE(line_direction, direction_of(r->x))
LINE(line_order, order_of(r->x))
LINE(line_in_flight, value_count(r->x->in_flight))
FIT(line_fixed, positive_seconds(r->x->line.fixed_s))
FIT(line_fixed_low, value_seconds(fmax(0, r->x->line.fixed_bounds.low)))
FIT(line_fixed_high, value_seconds(fmax(0, r->x->line.fixed_bounds.high)))
LINE(line_fixed_range, value_word(r->fixed_range))
FIT(line_rate, positive_rate(r->x->line.rate))
FIT(line_rate_low, positive_rate(r->x->line.rate_bounds.low))
FIT(line_rate_high, positive_rate(r->x->line.rate_bounds.high))
LINE(line_rate_range, rate_range(&r->x->line))
FIT(line_half, value_if(r->x->line.half_known, amount(r->x->line.half_bytes)))
FIT(line_worst, value_share(r->x->line.worst))
FIT(line_worst_size, value_bytes(r->x->line.worst_bytes))
LINE(line_sizes, value_count(r->x->point_count))
LINE(line_passes, value_count(r->x->passes))
LINE(line_left_out, value_count(r->x->left_out))
LINE(line_request, value_bytes(r->x->judged_bytes))
LINE(line_seconds, positive_seconds(r->x->culprits.seconds))
LINE(line_culprits, value_words(r->culprits))
LINE(line_bend, value_if(r->x->growths.fits && r->x->growths.list[0].at_bytes > 0,
			amount(r->x->growths.list[0].at_bytes)))
LINE(line_stalls, value_count(number_whole(r->x->stalls.count)))
LINE(line_stalled, value_seconds(r->x->stalls.seconds))
LINE(line_drift, value_if(r->x->wander.trends, value_share(r->x->wander.change)))
LINE(line_pieces, value_number(r->x->points[r->x->point_count - 1].pieces))
LINE(line_behind, value_if(r->x->behind > 0, value_number(r->x->behind)))
LINE(line_behind_bytes, value_if(r->x->behind > EXPLAIN_BEHIND, amount(r->x->behind_bytes)))

static const struct column lines[] = {
	{ NULL, "of", "the requests", 0, true, NULL, line_name },
	{ "direction", NULL, "read or write", 0, true, NULL, line_direction },
	{ "order", NULL, "sequential or random", 0, true, NULL, line_order },
	{ "in_flight", NULL, "requests kept open at once", 0, false, NULL, line_in_flight },
	{ "fixed_cost_seconds", "fixed cost", "of a request, whatever its size; unknown: none seen",
		0, false, NULL, line_fixed },
	{ NULL, "95 % range", "of the value before", 0, false, NULL, line_fixed_range },
	{ "fixed_cost_low_seconds", NULL, "lower end of its 95 % interval", 0, false, NULL,
		line_fixed_low },
	{ "fixed_cost_high_seconds", NULL, "its upper end", 0, false, NULL, line_fixed_high },
	{ "streaming_bytes_per_second", "streaming", "beyond the fixed cost", 0, false, NULL,
		line_rate },
	{ NULL, "95 % range", "of the value before", 0, false, NULL, line_rate_range },
	{ "streaming_low_bytes_per_second", NULL, "its 95 % interval; unknown: it has no such end",
		0, false, NULL, line_rate_low },
	{ "streaming_high_bytes_per_second", NULL, "its upper end", 0, false, NULL,
		line_rate_high },
	{ "half_rate_request_bytes", "half rate at",
		"the size that reaches half the streaming rate", 0, false, NULL, line_half },
	{ "worst_misfit_share", NULL, "how far the farthest size lies from the line", 0, false,
		NULL, line_worst },
	{ "worst_misfit_request_bytes", NULL, "that size", 0, false, NULL, line_worst_size },
	{ "sizes", NULL, "request sizes measured", 0, false, NULL, line_sizes },
	{ "passes", NULL, "that count", 0, false, NULL, line_passes },
	{ "passes_left_out", NULL, "cut, disturbed, or with errors", 0, false, NULL,
		line_left_out },
	{ "request_bytes", NULL, "the request looked at for what limits", 0, false, NULL,
		line_request },
	{ "seconds", NULL, "it takes, until stored, stalls at their long-run rate", 0, false, NULL,
		line_seconds },
	{ "culprits", NULL, "codes of what limits: all that the figures can't tell apart", 0, true,
		NULL, line_culprits },
	{ "bend_bytes", NULL, "size at which the line bends, or the card's program unit", 0, false,
		NULL, line_bend },
	{ "stalls", NULL, "requests many times longer than their like", 0, false, NULL,
		line_stalls },
	{ "stalled_seconds", NULL, "what they took", 0, false, NULL, line_stalled },
	{ "drift_share", NULL,
		"how much longer requests took at the end of the run; null: no drift", 0, false,
		NULL, line_drift },
	{ "largest_request_pieces", NULL, "requests that the kernel makes of the largest one", 0,
		false, NULL, line_pieces },
	{ "acknowledged_over_stored_most", NULL, "rates, at the size where they differ most", 0,
		false, NULL, line_behind },
	{ "not_yet_stored_bytes", NULL, "after the last answer there", 0, false, NULL,
		line_behind_bytes },
};

const struct table_spec explain_tables_spec = { .key = "tables",
	.meaning = "a direction, order and number in flight: its fitted line and what limits it",
	.csv = CSV_RUN,
	.csv_what = "table",
	.row_bytes = sizeof(struct explain_table),
	TABLE_COLUMNS(lines) };

/* ---- where the time goes ---- */

#define PART(function, expression) COLUMN_VALUE(function, struct explain_part, r, expression)

static double bytes_of(const struct explain_part *r)
{
	return (double)r->x->judged_bytes;
}

/* Link and card themselves can't be taken away. */
static bool gains(const struct explain_part *r)
{
	return r->culprit->cause > CAUSE_CARD && r->culprit->seconds_low > 0;
}

PART(part_name, value_word(r->name))
PART(part_direction, direction_of(r->x))
PART(part_order, order_of(r->x))
PART(part_in_flight, value_count(r->x->in_flight))
PART(part_request, value_bytes(r->x->judged_bytes))
PART(part_cause, value_code(cause_code(r->culprit->cause)))
PART(part_role, value_word(explain_role_name(r->role)))
PART(part_low, value_share(r->culprit->share_low))
PART(part_high, value_share(fmin(1, r->culprit->share_high)))
PART(part_range, value_word(r->share_range))
PART(part_without_low, value_if(gains(r), value_rate(bytes_of(r) / r->culprit->seconds_high)))
PART(part_without_high, value_if(gains(r), value_rate(bytes_of(r) / r->culprit->seconds_low)))
PART(part_without, value_word(r->rate_range))

static const struct column parts[] = {
	{ NULL, "of", "the requests", 0, true, NULL, part_name },
	{ "direction", NULL, "read or write", 0, true, NULL, part_direction },
	{ "order", NULL, "sequential or random", 0, true, NULL, part_order },
	{ "in_flight", NULL, "requests kept open at once", 0, false, NULL, part_in_flight },
	{ "request_bytes", "request", "its size", 0, false, NULL, part_request },
	{ "cause", "cause", "its code", 0, true, NULL, part_cause },
	{ "role", "rank", "limits, comes next, or perhaps counts as well", 0, true, NULL,
		part_role },
	{ NULL, "of its time", "what would be saved without the cause", 0, false, NULL,
		part_range },
	{ "share_low", NULL, "of the time: saved without it, over all that the figures allow", 0,
		false, NULL, part_low },
	{ "share_high", NULL, "the most of it", 0, false, NULL, part_high },
	{ NULL, "without it", "the rate that would be left", 0, false, NULL, part_without },
	{ "without_low_bytes_per_second", NULL, "the rate without it; null: link or card itself", 0,
		false, NULL, part_without_low },
	{ "without_high_bytes_per_second", NULL, "the most of it", 0, false, NULL,
		part_without_high },
};

const struct table_spec explain_parts_spec = { .key = "causes",
	.meaning = "where the time of a request goes",
	.csv = CSV_RUN,
	.csv_what = "cause",
	.row_bytes = sizeof(struct explain_part),
	TABLE_COLUMNS(parts) };

/* ---- points ---- */

#define POINT(function, expression) COLUMN_VALUE(function, struct explain_point, r, expression)

static double acknowledged_rate(const struct explain_point *r)
{
	return (double)r->acknowledged->request_bytes / r->acknowledged->seconds;
}

static uint64_t piece(const struct explain_point *r)
{
	const struct cost_point *c = r->acknowledged;

	return number_whole((double)c->request_bytes / c->pieces);
}

static struct value share_of_link(const struct explain_point *r, bool phased)
{
	const struct usb_link *usb = r->x->usb;
	double seconds;

	if (!usb || (phased && (!usb->packet_bytes || r->x->diagnosis.phased_beaten)))
		return value_unknown();
	seconds =
		phased ? usb_command_phased_s(usb, piece(r)) : usb_command_packed_s(usb, piece(r));
	return value_if(
		seconds > 0, value_share(acknowledged_rate(r) * seconds / (double)piece(r)));
}

POINT(point_direction, direction_of(r->x))
POINT(point_order, order_of(r->x))
POINT(point_in_flight, value_count(r->x->in_flight))
POINT(point_request, value_bytes(r->acknowledged->request_bytes))
POINT(point_acknowledged, positive_rate(acknowledged_rate(r)))
POINT(point_stored,
	value_if(r->x->shown, positive_rate((double)r->stored->request_bytes / r->stored->seconds)))
POINT(point_packed, share_of_link(r, false))
POINT(point_phased, share_of_link(r, true))

static bool any_write(const struct table *t)
{
	const struct explain_point *rows = t->rows;

	return t->count && rows[0].x->direction == RUN_WRITE;
}

static bool any_phased(const struct table *t)
{
	return t->count && share_of_link(t->rows, true).known;
}

static const struct column points[] = {
	{ "direction", NULL, "read or write", 0, true, NULL, point_direction },
	{ "order", NULL, "sequential or random", 0, true, NULL, point_order },
	{ "in_flight", NULL, "requests kept open at once", 0, false, NULL, point_in_flight },
	{ "request_bytes", "request", "its size", 0, false, NULL, point_request },
	{ "acknowledged_bytes_per_second", "rate", "until the last answer", 0, false, NULL,
		point_acknowledged },
	{ "stored_bytes_per_second", "stored",
		"until all of it was stored; null where that is not shown", 0, false, any_write,
		point_stored },
	{ "share_of_link", "of link, overhead off",
		"the rate before, of the most that the link carries of data in such requests, "
		"beside their command and status",
		0, false, NULL, point_packed },
	{ "share_of_link_one_phase_a_frame", "one phase a frame",
		"the same, on a host that serves command, data and status in a frame each", 0,
		false, any_phased, point_phased },
};

const struct table_spec explain_points_spec = { .key = "points",
	.meaning = "a request size of a table against what the link allows",
	.csv = CSV_RUN,
	.csv_what = "point",
	.row_bytes = sizeof(struct explain_point),
	TABLE_COLUMNS(points) };

/* ---- stages ---- */

#define STAGE(function, expression) COLUMN_VALUE(function, struct explain_table, r, expression)

static const struct stage_budget *budget_of(const struct explain_table *r)
{
	return &r->x->diagnosis.usual;
}

STAGE(stage_link, positive_rate(budget_of(r)->link))
STAGE(stage_link_given, value_flag(!budget_of(r)->link_is_ceiling))
STAGE(stage_card, positive_rate(budget_of(r)->card))
STAGE(stage_card_given, value_flag(!budget_of(r)->card_is_ceiling))
STAGE(stage_in_turn, positive_rate(budget_of(r)->in_turn))
STAGE(stage_overlapped, positive_rate(budget_of(r)->overlapped))
STAGE(stage_measured, value_if(r->x->shown, positive_rate(budget_of(r)->measured)))
STAGE(stage_request, value_bytes(budget_of(r)->bytes))

static const struct column stages[] = {
	{ NULL, "of", "the requests", 0, true, NULL, line_name },
	{ "direction", NULL, "read or write", 0, true, NULL, line_direction },
	{ "order", NULL, "sequential or random", 0, true, NULL, line_order },
	{ "in_flight", NULL, "requests kept open at once", 0, false, NULL, line_in_flight },
	{ "request_bytes", NULL, "its size", 0, false, NULL, stage_request },
	{ "link_bytes_per_second", "link", "as given, or the most it can carry", 0, false, NULL,
		stage_link },
	{ "link_given", NULL, "it was given, not taken from a table", 0, false, NULL,
		stage_link_given },
	{ "card_bytes_per_second", "card", "as given, or the most its bus can carry", 0, false,
		NULL, stage_card },
	{ "card_given", NULL, "it was given, not taken from its bus", 0, false, NULL,
		stage_card_given },
	{ "in_turn_bytes_per_second", "one by one",
		"link and card one after the other, with the fixed cost", 0, false, NULL,
		stage_in_turn },
	{ "overlapped_bytes_per_second", "overlapped",
		"the slower of the two, the way of the first block into it, and the fixed cost", 0,
		false, NULL, stage_overlapped },
	{ "measured_bytes_per_second", "measured", "until stored; null where that is not shown", 0,
		false, NULL, stage_measured },
};

const struct table_spec explain_stages_spec = { .key = "stages",
	.meaning = "a table whose link and card are known: what they allow",
	.row_bytes = sizeof(struct explain_table),
	TABLE_COLUMNS(stages) };

/* ---- copies ---- */

#define COPY(function, expression) COLUMN_VALUE(function, struct explain_copy, r, expression)

COPY(copy_direction, value_word(run_direction_name(r->direction)))
COPY(copy_way, value_code(r->way))
COPY(copy_bytes, value_bytes_decimal(r->bytes))
COPY(copy_request, value_bytes(r->request_bytes))
COPY(copy_seconds, value_if(r->seconds > 0, value_seconds(r->seconds)))
COPY(copy_rate, value_if(r->seconds > 0, positive_rate((double)r->bytes / r->seconds)))

static const struct column copies[] = {
	{ "direction", "direction", "read or write", 0, true, NULL, copy_direction },
	{ "way", "how",
		"measured: at the stored rates of this sweep; fitted: by its fitted line, beyond "
		"the sizes that it measured; not measured: such requests were not, and no line "
		"tells; acknowledged: at those of its "
		"answers, where no stored rate is shown; or in turn or overlapped",
		0, true, NULL, copy_way },
	{ "request_bytes", "request", "size of the requests it is made of", 0, false, NULL,
		copy_request },
	{ "copied_bytes", NULL, "how much is copied", 0, false, NULL, copy_bytes },
	{ "seconds", "time", "of the copy", 0, false, NULL, copy_seconds },
	{ "bytes_per_second", "rate", "of the copy", 0, false, NULL, copy_rate },
};

const struct table_spec explain_copies_spec = { .key = "copies",
	.meaning = "a way to copy as much as --copy says",
	.row_bytes = sizeof(struct explain_copy),
	TABLE_COLUMNS(copies) };

/* ---- what was observed ---- */

#define MIX(function, expression) COLUMN_VALUE(function, struct explain_mix_row, r, expression)

MIX(mix_of, value_word(r->of))
MIX(mix_now, value_seconds(r->seconds[EXPLAIN_NOW]))
MIX(mix_whole, value_seconds(r->seconds[EXPLAIN_WHOLE]))
MIX(mix_overlapped, value_seconds(r->seconds[EXPLAIN_OVERLAPPED]))

static const struct column mix[] = {
	{ "of", "time for", "read, write, flush, or all of them", 0, true, NULL, mix_of },
	{ "now_seconds", "now", "what was observed, at the costs of this sweep", 0, false, NULL,
		mix_now },
	{ "whole_requests_seconds", "whole requests",
		"the same with link and card one after the other for each whole request", 0, false,
		NULL, mix_whole },
	{ "overlapped_seconds", "stages overlap", "the same with link and card overlapped", 0,
		false, NULL, mix_overlapped },
};

const struct table_spec explain_mix_spec = { .key = "as_observed",
	.meaning = "time for what --as observed",
	.row_bytes = sizeof(struct explain_mix_row),
	TABLE_COLUMNS(mix) };

const char *explain_role_name(enum explain_role role)
{
	return role == EXPLAIN_LIMITS ? "limits" : role == EXPLAIN_NEXT ? "next" : "perhaps";
}
