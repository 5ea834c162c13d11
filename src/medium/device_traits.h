/* What the kernel says of a block device, as the traits of a medium. */
#ifndef MEDIUM_DEVICE_TRAITS_H
#define MEDIUM_DEVICE_TRAITS_H

#include <stdbool.h>

struct blockdev;
struct medium_traits;

/* Everything but the path and the alignments, which are known only once the device is open; those are left as they are. */
void medium_traits_take_device(struct medium_traits *t, const struct blockdev *d);

/* Is what was opened (t) what was looked at before (d)? By name, disk sequence, size and serial number. */
bool medium_traits_fit_device(const struct medium_traits *t, const struct blockdev *d);

#endif
