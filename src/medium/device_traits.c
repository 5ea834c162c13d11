/* What the kernel says of a block device, as the traits of a medium. */
#include "medium/device_traits.h"

#include <string.h>

#include "base/text.h"
#include "medium/medium.h"
#include "platform/blockdev.h"

void medium_traits_take_device(struct medium_traits *t, const struct blockdev *d)
{
	t->kind = MEDIUM_BLOCK_DEVICE;
	text_copy(t->name, sizeof t->name, d->name);
	text_copy(t->vendor, sizeof t->vendor, d->vendor);
	text_copy(t->model, sizeof t->model, d->model);
	text_copy(t->serial, sizeof t->serial, d->serial);
	text_copy(t->revision, sizeof t->revision, d->revision);
	text_copy(t->usb_release, sizeof t->usb_release, d->usb_release);
	text_copy(t->transport, sizeof t->transport, d->transport);
	t->size_bytes = d->size_bytes;
	t->logical_block_bytes = d->logical_block_bytes;
	t->physical_block_bytes = d->physical_block_bytes;
	t->request_limit_bytes = d->request_limit_bytes;
	t->link_bits_per_second = d->link_bits_per_second;
	t->cache = !d->write_cache_known ? MEDIUM_CACHE_UNKNOWN
		   : d->write_back       ? MEDIUM_CACHE_WRITE_BACK
					 : MEDIUM_CACHE_WRITE_THROUGH;
	t->fua = d->fua;
	t->removable = d->removable;
	t->marked_removable = d->marked_removable;
	t->read_only = d->read_only;
	t->disk_sequence = d->disk_sequence;
}

bool medium_traits_fit_device(const struct medium_traits *t, const struct blockdev *d)
{
	return !strcmp(t->name, d->name) && t->disk_sequence == d->disk_sequence &&
	       t->size_bytes == d->size_bytes && !strcmp(t->serial, d->serial);
}
