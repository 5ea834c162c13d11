/* Bulk-only transport on the bus: takes commands, has the model answer them, keeps the truth log. */
#ifndef GADGET_TRANSPORT_H
#define GADGET_TRANSPORT_H

struct bus;
struct error;

/* Until an order ends it. 0, or -1 with *err. */
int transport_run(struct bus *b, struct error *err);

#endif
