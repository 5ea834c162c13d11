/* The host's side: a bus reset in the middle of whatever goes on. (The kernel's own reset waits until the command at hand is
 * over.) */
#ifndef GADGET_PORT_H
#define GADGET_PORT_H

#include <limits.h>

struct error;

/* The USB device of a disk: its folder in sysfs and its node. 0 or -1. */
int port_find(const char *disk, char folder[PATH_MAX], char node[64]);

/* disk: a node such as /dev/sdb. The hub is told to reset the port its USB device is on, and the driver has to find out.
 * 0, or -1 with *err. */
int port_reset(const char *disk, struct error *err);

#endif
