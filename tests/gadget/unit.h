/* A logical unit: a modelled gadget and its card, which may lie in a file and be taken out. */
#ifndef GADGET_UNIT_H
#define GADGET_UNIT_H

#include <stdbool.h>

#include "medium/model_bulk.h"

struct error;

struct unit {
	struct model_gadget gadget;
	struct model_bulk bulk;
	struct model_faults faults; /* of its model, which may sleep */
	bool card_out; /* by hand: a power cycle does not bring it back */
};

/* card: a file that holds what the card holds, made where it is missing; NULL: a new card, gone with the process.
 * 0, or -1 with *err. */
int unit_open(struct unit *u, const struct model_spec *spec, const char *card, struct error *err);
void unit_close(struct unit *u);

/* Power comes on: the host hears of it. */
void unit_start(struct unit *u, double now);
/* Power goes, and with it the buffer. 0 or a negative errno of the card's file. */
int unit_cut(struct unit *u, double now);
/* The card is pulled out; what waits in the buffer has nowhere to go. */
void unit_take_card(struct unit *u);
/* It comes back, or another one: card as above, NULL: the same; capacity 0: as before. The host hears of it. */
int unit_put_card(struct unit *u, const char *card, uint64_t capacity, struct error *err);

/* The faults of its model sleep, or strike again. */
void unit_set_faults(struct unit *u, bool on);

#endif
