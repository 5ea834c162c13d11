/* Preloaded: the USB monitor's ring is never read, as if its reader were too busy; or, with MONITOR_RING=BYTES and
 * MONITOR_EVERY=N, it is so small, and read the N-th time only. */
#include <dlfcn.h>
#include <errno.h>
#include <stdarg.h>
#include <stdlib.h>
#include <sys/ioctl.h>

enum { MONITOR = 0x92, SET_RING = 4, TAKE_EVENTS = 7 }; /* Linux Documentation/usb/usbmon.rst */

static unsigned long number(const char *name)
{
	const char *text = getenv(name);

	return text ? strtoul(text, NULL, 10) : 0;
}

static int is_skipped(unsigned long request)
{
	static unsigned long times;

	if (_IOC_NR(request) != TAKE_EVENTS)
		return 0;
	return !number("MONITOR_EVERY") || ++times % number("MONITOR_EVERY");
}

int ioctl(int fd, unsigned long request, ...)
{
	static int (*real)(int fd, unsigned long request, ...);
	va_list more;
	void *what;

	va_start(more, request);
	what = va_arg(more, void *);
	va_end(more);
	if (!real)
		*(void **)&real = dlsym(RTLD_NEXT, "ioctl");
	if (_IOC_TYPE(request) != MONITOR)
		return real(fd, request, what);
	if (is_skipped(request)) {
		errno = EAGAIN;
		return -1;
	}
	if (_IOC_NR(request) == SET_RING && number("MONITOR_RING"))
		return real(fd, request, number("MONITOR_RING"));
	return real(fd, request, what);
}
