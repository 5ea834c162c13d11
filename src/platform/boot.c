/* Which boot this is. */
#include "platform/boot.h"

#include "platform/sysfs.h"

void boot_id(char out[BOOT_ID_MAX])
{
	sysfs_read_text("/proc/sys/kernel/random", "boot_id", out, BOOT_ID_MAX);
}
