/* Who else has a device open that is about to be written. */
#ifndef CLI_DEVICE_OPENERS_H
#define CLI_DEVICE_OPENERS_H

struct blockdev;

/* Warns of programs that have the disk of d, or one of its partitions, open: the exclusive open keeps out mounts and the
 * like, but not who just opened it. Nothing is refused; who only looked for a moment, as udev does, is passed over. */
void device_openers_warn(const struct blockdev *d);

#endif
