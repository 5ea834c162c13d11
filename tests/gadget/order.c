/* What the working thread does about an order. */
#include "gadget/order.h"

#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/number.h"
#include "base/size.h"
#include "base/text.h"
#include "gadget/bus.h"
#include "gadget/clock.h"
#include "medium/model_value.h"

bool order_word(const char *is, const char *wanted)
{
	return is && wanted && !strcmp(is, wanted);
}

static int refuse(struct order *o, const char *why)
{
	text_copy(o->answer, sizeof o->answer, why);
	return -1;
}

static int power_off(struct bus *b)
{
	double now = clock_ns();
	int rc = 0;

	for (unsigned i = 0; b->powered && i < b->unit_count && rc >= 0; i++)
		rc = unit_cut(&b->units[i], now);
	b->powered = false;
	return rc;
}

static void power_on(struct bus *b)
{
	for (unsigned i = 0; !b->powered && i < b->unit_count; i++)
		unit_start(&b->units[i], clock_ns());
	b->powered = true;
}

/* "lun=1", "capacity=8Mi" and a path, in any order. */
struct card {
	uint64_t lun, capacity;
	const char *path;
};

static int read_card(struct order *o, struct card *c)
{
	*c = (struct card){ 0 };
	for (const char **w = o->words; *w; w++) {
		int rc = 0;

		if (!strncmp(*w, "lun=", 4))
			rc = number_parse_u64(*w + 4, &c->lun);
		else if (!strncmp(*w, "capacity=", 9))
			rc = size_parse(*w + 9, &c->capacity);
		else
			c->path = *w;
		if (rc < 0)
			return refuse(o, "expected lun=N, capacity=SIZE or a file");
	}
	return 0;
}

static int move_card(struct bus *b, struct order *o)
{
	struct error err = { 0 };
	struct card c;

	if (read_card(o, &c) < 0)
		return -1;
	if (c.lun >= b->unit_count)
		return refuse(o, "there is no such logical unit");
	if (o->kind == ORDER_CARD_OUT)
		unit_take_card(&b->units[c.lun]);
	else if (unit_put_card(&b->units[c.lun], c.path, c.capacity, &err) < 0)
		return refuse(o, err.text);
	return 0;
}

static int stall(struct bus *b, struct order *o)
{
	bool in = order_word(o->words[0], "in");
	int rc;

	if (!in && !order_word(o->words[0], "out"))
		return refuse(o, "expected: stall in|out");
	rc = pipes_stall(&b->pipes, in ? PIPE_IN : PIPE_OUT);
	return rc < 0 ? refuse(o, strerror(-rc)) : 0;
}

static int set_silence(struct bus *b, struct order *o)
{
	uint64_t n = 1, opcode = 0;
	char hex[16];

	/* Hexadecimal as in a model file: 28h. */
	if (o->words[0] && o->words[1])
		snprintf(hex, sizeof hex, "%sh", o->words[1]);
	if ((o->words[0] && number_parse_u64(o->words[0], &n) < 0) ||
		(o->words[1] && model_value_byte(hex, &opcode) < 0))
		return refuse(o, "expected: silence [COMMANDS [OPCODE]], like 'silence 1 28'");
	b->silences = (unsigned)n;
	b->silent_opcode = o->words[1] ? (int)opcode : -1;
	return 0;
}

static int set_slip(struct bus *b, struct order *o)
{
	struct slip s = { .kind = SLIP_NONE, .each = 1 };
	uint64_t each = 1;

	if (!o->words[0] || slip_parse(o->words[0], &s.kind) < 0 ||
		(o->words[1] &&
			(number_parse_u64(o->words[1], &each) < 0 || !each || each > 1000000)))
		return refuse(o, "expected: slip lost|tag|residue|short|hidden|undone|none [EACH], "
				 "like 'slip tag 3'");
	s.each = (unsigned)each;
	b->slip = s;
	return 0;
}

static int set_switch(struct order *o, bool *what)
{
	bool on = order_word(o->words[0], "yes");

	if (!on && !order_word(o->words[0], "no"))
		return refuse(o, "expected: yes or no");
	*what = on;
	return 0;
}

static int set_faults(struct bus *b, struct order *o)
{
	bool on;

	if (set_switch(o, &on) < 0)
		return -1;
	for (unsigned i = 0; i < b->unit_count; i++)
		unit_set_faults(&b->units[i], on);
	return 0;
}

static int add(struct bus *b, struct order *o)
{
	static const char expected[] =
		"expected: add data|piece|status|next TIME, like 'add status 5 ms'";
	static const char *const names[] = { "data", "piece", "status", "next" };
	double *const extras[] = { &b->extra.data, &b->extra.piece, &b->extra.status,
		&b->extra.next };
	char time[32];

	if (o->words[0] && o->words[1] && o->words[2])
		snprintf(time, sizeof time, "%s %s", o->words[1], o->words[2]);
	else
		return refuse(o, expected);
	for (size_t i = 0; i < 4; i++)
		if (order_word(o->words[0], names[i]) && model_value_time(time, extras[i]) == 0)
			return 0;
	return refuse(o, expected);
}

static void recount(struct bus *b)
{
	for (unsigned i = 0; i < b->unit_count; i++) {
		b->units[i].gadget.fault_counts = (struct model_fault_counts){ 0 };
		b->units[i].bulk.transfers = 0;
	}
	b->slip.count = 0;
}

static void describe(const struct bus *b, struct order *o)
{
	size_t pending = 0;

	for (unsigned i = 0; i < b->unit_count; i++)
		pending += b->units[i].gadget.pending.count;
	snprintf(o->answer, sizeof o->answer,
		"powered=%s enabled=%s commands=%llu waiting_blocks=%zu", b->powered ? "yes" : "no",
		b->enabled ? "yes" : "no", (unsigned long long)b->truth.lines, pending);
}

static int carry_out(struct bus *b, struct order *o)
{
	switch (o->kind) {
	case ORDER_POWER_OFF:
		return power_off(b) < 0 ? refuse(o, "the card's file cannot be written") : 0;
	case ORDER_POWER_ON:
		power_on(b);
		return 0;
	case ORDER_CARD_OUT:
	case ORDER_CARD_IN:
		return move_card(b, o);
	case ORDER_STALL:
		return stall(b, o);
	case ORDER_SILENCE:
		return set_silence(b, o);
	case ORDER_IGNORE_RESET:
		return set_switch(o, &b->ignore_reset);
	case ORDER_FAULTS:
		return set_faults(b, o);
	case ORDER_SLIP:
		return set_slip(b, o);
	case ORDER_INTERRUPT:
		return set_switch(o, &b->interrupts);
	case ORDER_ADD:
		return add(b, o);
	case ORDER_RECOUNT:
		recount(b);
		return 0;
	case ORDER_STATE:
		describe(b, o);
		return 0;
	case ORDER_QUIT:
		b->finished = true;
		return 0;
	}
	return -1;
}

bool order_interrupts(const struct order *o)
{
	return o->kind == ORDER_POWER_OFF || o->kind == ORDER_QUIT;
}

void order_serve(struct bus *b)
{
	struct order *o;

	pthread_mutex_lock(&b->lock);
	o = b->order;
	pthread_mutex_unlock(&b->lock);
	if (!o)
		return;
	o->status = carry_out(b, o);
	pthread_mutex_lock(&b->lock);
	o->done = true;
	b->order = NULL;
	pthread_cond_broadcast(&b->changed);
	pthread_mutex_unlock(&b->lock);
}
