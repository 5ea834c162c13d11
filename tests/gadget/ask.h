/* The host's side: commands from a list to a target, what came back as text. The same list to a gadget on the bus and to
 * model:FILE shows whether they differ. */
#ifndef GADGET_ASK_H
#define GADGET_ASK_H

struct error;

/* Lines of stdin, answered on stdout:
 *   in|out|none BYTES HEX...   a SCSI command (data out is A5h), with a patience of 3 s
 *   read|write AT BYTES        by the kernel
 *   flush
 *   recount                    a gadget's faults "1 in N" count from here on, as a model's do from its opening
 * 0, or -1 with *err. */
int ask_all(const char *target, struct error *err);

#endif
