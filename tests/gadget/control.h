/* The socket on which orders come in, and the client that sends them. */
#ifndef GADGET_CONTROL_H
#define GADGET_CONTROL_H

struct bus;
struct composite;
struct error;

#define CONTROL_SOCKET "/run/bus_gadget"

/* A thread that takes orders until the process ends. 0, or -1 with *err. */
int control_start(struct bus *b, struct composite *c, struct error *err);
/* Sends the words; prints the answer. The exit status. */
int control_tell(int count, char **words);

#endif
