/* Where on which USB bus a disk sits, and how it is spoken to, as sysfs has it. */
#ifndef PLATFORM_USB_PLACE_H
#define PLATFORM_USB_PLACE_H

#include <stdint.h>

#include "platform/usbmon_event.h"

enum usb_way { USB_WAY_NONE, USB_WAY_BULK_ONLY, USB_WAY_UAS, USB_WAY_OTHER };

struct usb_place {
	enum usb_way way; /* NONE: it is no USB device */
	struct usbmon_filter filter; /* of bulk-only ones alone */
};

/* Of the block device with this number, or the disk of that partition. sysfs NULL: "/sys". 0, or a negative errno. */
int usb_place_find(struct usb_place *out, const char *sysfs, unsigned major, unsigned minor);

#endif
