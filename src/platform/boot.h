/* Which boot of this machine this is: proc(5), /proc/sys/kernel/random/boot_id. */
#ifndef PLATFORM_BOOT_H
#define PLATFORM_BOOT_H

enum { BOOT_ID_MAX = 40 };

/* 36 characters that differ from boot to boot; "" when the kernel does not tell. */
void boot_id(char out[BOOT_ID_MAX]);

#endif
