/* Endpoint 0, served by a thread of its own whatever the bulk endpoints wait for. */
#ifndef GADGET_EP0_H
#define GADGET_EP0_H

#include <pthread.h>
#include <stdbool.h>
#include <stdint.h>

struct error;

/* Called by the thread. */
struct ep0_hooks {
	void (*enabled)(void *context, bool on); /* by the host: configured, or reset and gone */
	void (*reset)(
		void *context); /* Bulk-Only Mass Storage Reset; acknowledged when this returns */
	void *context;
};

struct ep0 {
	int fd, stop;
	bool running;
	uint8_t max_lun;
	struct ep0_hooks hooks;
	pthread_t thread;
};

/* Writes the descriptors of a bulk-only function into FunctionFS at folder. 0, or -1 with *err. */
int ep0_open(struct ep0 *e, const char *folder, struct error *err);
int ep0_start(struct ep0 *e, uint8_t max_lun, const struct ep0_hooks *hooks, struct error *err);
void ep0_close(struct ep0 *e);

#endif
