/* Events on command: what `bus_gadget tell` sends, and what the working thread does about it. */
#ifndef GADGET_ORDER_H
#define GADGET_ORDER_H

#include <stdbool.h>

struct bus;

enum order_kind {
	ORDER_POWER_OFF,
	ORDER_POWER_ON,
	ORDER_CARD_OUT,
	ORDER_CARD_IN,
	ORDER_STALL,
	ORDER_SILENCE,
	ORDER_INTERRUPT,
	ORDER_IGNORE_RESET,
	ORDER_SLIP,
	ORDER_FAULTS,
	ORDER_ADD,
	ORDER_RECOUNT,
	ORDER_STATE,
	ORDER_QUIT,
};

struct order {
	enum order_kind kind;
	const char *words[6]; /* behind the first ones; NULL: no more */
	bool done;
	int status; /* 0, or -1 with the reason in answer */
	char answer[512];
};

/* Are they the same word? NULL is none. */
bool order_word(const char *is, const char *wanted);
/* Does what is going on have to end for it? */
bool order_interrupts(const struct order *o);
/* The working thread, between commands: carries out the order that waits, if any. */
void order_serve(struct bus *b);

#endif
