/* Preloaded: the USB monitor's ring is never read, as if its reader were too busy. */
#include <dlfcn.h>
#include <errno.h>
#include <stdarg.h>
#include <sys/ioctl.h>

enum { MONITOR = 0x92, TAKE_EVENTS = 7 }; /* Linux Documentation/usb/usbmon.rst */

int ioctl(int fd, unsigned long request, ...)
{
	static int (*real)(int fd, unsigned long request, ...);
	va_list more;
	void *what;

	va_start(more, request);
	what = va_arg(more, void *);
	va_end(more);
	if (_IOC_TYPE(request) == MONITOR && _IOC_NR(request) == TAKE_EVENTS) {
		errno = EAGAIN;
		return -1;
	}
	if (!real)
		*(void **)&real = dlsym(RTLD_NEXT, "ioctl");
	return real(fd, request, what);
}
