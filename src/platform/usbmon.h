/* The kernel's USB monitor (Linux Documentation/usb/usbmon.rst, the binary interface), for one disk. Events lie in a ring
 * that the kernel shares with us; those of other devices on the bus are passed over by their header, so that a keyboard's
 * are never read: that others moved data at all, and how much together, is all that is known of them. */
#ifndef PLATFORM_USBMON_H
#define PLATFORM_USBMON_H

#include <stddef.h>
#include <stdint.h>

#include "platform/usbmon_event.h"

struct error;
struct usbmon;

/* 0, or -1 with *err; err->sys_errno is ENOENT when the kernel's module is not there, EACCES without the right. */
int usbmon_open(struct usbmon **out, const struct usbmon_filter *filter, struct error *err);
void usbmon_close(struct usbmon *m); /* closing NULL does nothing */

/* Makes the ring fit for requests of that many bytes, 0: of any; what is in it is forgotten if that changes it. 0 or a negative
 * errno: then there is no ring. */
int usbmon_expect(struct usbmon *m, uint64_t request_bytes);

/* Takes what is in the ring into memory, to be handed over later: that is cheaper. 0 or a negative errno; -ENOBUFS: memory
 * is full, the rest is still in the ring. */
int usbmon_collect(struct usbmon *m);

/* Hands over all events collected, in their order; they are valid during the call alone. */
void usbmon_hand_over(struct usbmon *m, void (*event)(void *context, const struct usbmon_event *e),
	void *context);

/* What the ring holds. */
size_t usbmon_ring_bytes(const struct usbmon *m);

/* How full of events, whosever they were, the last usbmon_collect found the ring: 0 to 1. */
double usbmon_fill(const struct usbmon *m);

/* How many bytes all else on that bus moved since it was opened, as far as events were collected. */
uint64_t usbmon_others_moved(const struct usbmon *m);

/* Waits until something happens on the bus, or for that long. */
void usbmon_wait(struct usbmon *m, unsigned milliseconds);

/* How many events of the bus were lost since the last call, whosever they were. 0 or a negative errno. */
int usbmon_dropped(struct usbmon *m, uint64_t *out);

/* Loads the kernel's module, which needs root. 0, or -1 with *err. */
int usbmon_load_module(struct error *err);

#endif
