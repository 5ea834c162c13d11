/* The host's side: bulk-only transport by hand, with the kernel's driver asked to let go. For what usb-storage never does:
 * invalid wrappers, the class's own reset in the middle of a command. */
#ifndef GADGET_BARE_H
#define GADGET_BARE_H

struct error;

/* One line for each thing tried on stdout. The driver gets the device back. 0, or -1 with *err. */
int bare_run(const char *disk, struct error *err);

#endif
