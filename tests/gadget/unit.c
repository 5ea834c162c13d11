/* A logical unit. */
#include "gadget/unit.h"

#include <errno.h>
#include <fcntl.h>
#include <unistd.h>

#include "base/error.h"

/* In place of the temporary file that a model has. */
static int use_card(struct unit *u, const char *path, struct error *err)
{
	int fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0600);

	if (fd < 0)
		return error_sys(err, ERROR_IO, errno, "cannot open the card '%s'", path);
	model_memory_close(&u->gadget.memory);
	u->gadget.memory = (struct model_memory){ .spec = &u->gadget.spec,
		.store = { .fd = fd, .fill = (unsigned char)u->gadget.spec.device.fill } };
	return 0;
}

int unit_open(struct unit *u, const struct model_spec *spec, const char *card, struct error *err)
{
	*u = (struct unit){ 0 };
	if (model_gadget_init(&u->gadget, spec, true, err) < 0)
		return -1;
	u->bulk.gadget = &u->gadget;
	u->faults = u->gadget.spec.faults;
	if (!card || use_card(u, card, err) == 0)
		return 0;
	unit_close(u);
	return -1;
}

void unit_close(struct unit *u)
{
	model_gadget_release(&u->gadget);
}

void unit_start(struct unit *u, double now)
{
	u->gadget.now_ns = u->gadget.busy_until_ns = now;
	u->gadget.ejected = u->card_out;
	model_bulk_reset(&u->bulk);
}

int unit_cut(struct unit *u, double now)
{
	u->gadget.now_ns = now;
	return model_gadget_replug(&u->gadget, true);
}

void unit_take_card(struct unit *u)
{
	u->gadget.pending.count = 0;
	u->gadget.pending.last_finish_ns = 0;
	u->gadget.ejected = u->card_out = true;
}

int unit_put_card(struct unit *u, const char *card, uint64_t capacity, struct error *err)
{
	if (card && use_card(u, card, err) < 0)
		return -1;
	if (capacity)
		u->gadget.spec.device.capacity_bytes = capacity;
	u->gadget.ejected = u->card_out = false;
	u->gadget.attention = true;
	return 0;
}

void unit_set_faults(struct unit *u, bool on)
{
	u->gadget.spec.faults = on ? u->faults : (struct model_faults){ 0 };
}
