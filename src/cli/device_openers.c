/* Who else has a device open. */
#include "cli/device_openers.h"

#include <stdlib.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>

#include "base/error.h"
#include "cli/message.h"
#include "platform/blockdev.h"
#include "platform/clock.h"
#include "platform/openers.h"

static const uint64_t passing_ns = 300000000; /* udev has looked and gone by then; from memory */

static bool find(struct opener *out, const struct blockdev *d)
{
	struct stat st = { .st_mode = S_IFBLK, .st_rdev = makedev(d->major, d->minor) };

	return opener_find(out, &st, OPENER_WRITES) || opener_find(out, &st, OPENER_ANY);
}

static void warn(const struct blockdev *d)
{
	struct opener o;
	char who[112];

	if (!find(&o, d))
		return;
	clock_sleep_ns(passing_ns);
	if (!find(&o, d))
		return;
	if (o.writes)
		message_warning("'%s' is open for writing in %s: what it writes during the run "
				"counts as damage, and may be overwritten; stop it first",
			d->node, opener_words(who, &o));
	else
		message_warning(
			"'%s' is open in %s: what it reads during the run disturbs the figures",
			d->node, opener_words(who, &o));
}

void device_openers_warn(const struct blockdev *d)
{
	struct blockdev disk, *parts = NULL;
	size_t count = 0;

	if (blockdev_read(&disk, NULL, d->disk, NULL) == 0)
		warn(&disk);
	if (blockdev_list_partitions(&parts, &count, NULL, d->disk, NULL) == 0)
		for (size_t i = 0; i < count; i++)
			warn(&parts[i]);
	free(parts);
}
