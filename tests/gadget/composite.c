/* The gadget in the kernel. */
#include "gadget/composite.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mount.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/error.h"
#include "base/text.h"

#define TREE "/sys/kernel/config/usb_gadget/bus_gadget"
#define FUNCTION "ffs.bus_gadget"
static const char controllers[] = "/sys/class/udc";

static int put(const char *path, const char *text, struct error *err)
{
	int fd = open(path, O_WRONLY | O_CLOEXEC);
	size_t n = strlen(text);
	ssize_t put = fd < 0 ? -1 : write(fd, text, n);
	int saved = errno;

	if (fd >= 0)
		close(fd);
	return put == (ssize_t)n
		       ? 0
		       : error_sys(err, ERROR_IO, saved, "cannot write '%s' to '%s'", text, path);
}

static void get(const char *path, char *text, size_t room)
{
	int fd = open(path, O_RDONLY | O_CLOEXEC);
	ssize_t n = fd < 0 ? -1 : read(fd, text, room - 1);

	text[n < 0 ? 0 : n] = 0;
	text[strcspn(text, "\n")] = 0;
	if (fd >= 0)
		close(fd);
}

/* By its driver, not by its name. */
static bool is_emulated(const char *name)
{
	char path[320], target[PATH_MAX];
	ssize_t n;

	snprintf(path, sizeof path, "%s/%s/device/driver", controllers, name);
	n = readlink(path, target, sizeof target - 1);
	if (n < 0)
		return false;
	target[n] = 0;
	return !strcmp(strrchr(target, '/') ? strrchr(target, '/') + 1 : target, "dummy_udc");
}

static int find_controller(char *name, size_t room, struct error *err)
{
	DIR *d = opendir(controllers);
	const struct dirent *e;

	*name = 0;
	while (d && !*name && (e = readdir(d)))
		if (*e->d_name != '.' && is_emulated(e->d_name))
			text_copy(name, room, e->d_name);
	if (d)
		closedir(d);
	return *name ? 0
		     : error_set(err, ERROR_REFUSED,
			       "there is no emulated USB controller (dummy_udc), and this gadget "
			       "binds to no "
			       "other; load the module dummy_hcd");
}

static int check_speed(const char *controller, int speed, struct error *err)
{
	static const char *const names[] = {
		[MODEL_SPEED_FULL] = "full-speed", [MODEL_SPEED_HIGH] = "high-speed"
	};
	char path[160], is[32];

	snprintf(path, sizeof path, "%s/%s/maximum_speed", controllers, controller);
	get(path, is, sizeof is);
	if (!strcmp(is, names[speed]))
		return 0;
	return error_set(err, ERROR_REFUSED,
		"the emulated bus is '%s' and the model's link is '%s'; load dummy_hcd with "
		"is_super_speed=0 is_high_speed=%d",
		is, names[speed], speed == MODEL_SPEED_HIGH);
}

static int make_tree(struct error *err)
{
	static const char *const folders[] = { TREE, TREE "/strings/0x409", TREE "/configs/c.1",
		TREE "/functions/" FUNCTION };

	for (size_t i = 0; i < sizeof folders / sizeof *folders; i++)
		if (mkdir(folders[i], 0755) < 0)
			return error_sys(err, ERROR_IO, errno,
				"cannot make '%s' (is configfs mounted, are libcomposite and "
				"usb_f_fs "
				"there, does another gadget run?)",
				folders[i]);
	if (symlink(TREE "/functions/" FUNCTION, TREE "/configs/c.1/" FUNCTION) < 0)
		return error_sys(err, ERROR_IO, errno, "cannot link the gadget's function");
	return 0;
}

static int describe(const struct model_device *d, struct error *err)
{
	/* pid.codes: numbers for tests. */
	if (put(TREE "/idVendor", "0x1209", err) < 0 || put(TREE "/idProduct", "0x0001", err) < 0 ||
		put(TREE "/strings/0x409/manufacturer", d->vendor, err) < 0 ||
		put(TREE "/strings/0x409/product", d->product, err) < 0)
		return -1;
	return put(TREE "/strings/0x409/serialnumber", d->serial, err);
}

int composite_make(
	struct composite *c, const struct model_device *device, int speed, struct error *err)
{
	*c = (struct composite){ 0 };
	if (find_controller(c->controller, sizeof c->controller, err) < 0 ||
		check_speed(c->controller, speed, err) < 0)
		return -1;
	text_copy(c->folder, sizeof c->folder, "/tmp/bus_gadget.XXXXXX");
	if (!mkdtemp(c->folder)) {
		*c->folder = 0;
		return error_sys(err, ERROR_IO, errno, "cannot make a folder in /tmp");
	}
	if (make_tree(err) == 0 && describe(device, err) == 0) {
		if (mount("bus_gadget", c->folder, "functionfs", 0, NULL) == 0)
			return 0;
		error_sys(err, ERROR_IO, errno, "cannot mount FunctionFS");
	}
	composite_remove(c);
	return -1;
}

int composite_plug(struct composite *c, struct error *err)
{
	if (c->bound)
		return 0;
	if (put(TREE "/UDC", c->controller, err) < 0)
		return -1;
	c->bound = true;
	return 0;
}

int composite_unplug(struct composite *c, struct error *err)
{
	if (!c->bound)
		return 0;
	if (put(TREE "/UDC", "\n", err) < 0)
		return -1;
	c->bound = false;
	return 0;
}

void composite_remove(struct composite *c)
{
	composite_unplug(c, NULL);
	if (*c->folder) {
		umount2(c->folder, MNT_DETACH);
		rmdir(c->folder);
	}
	unlink(TREE "/configs/c.1/" FUNCTION);
	rmdir(TREE "/functions/" FUNCTION);
	rmdir(TREE "/configs/c.1");
	rmdir(TREE "/strings/0x409");
	rmdir(TREE);
	*c = (struct composite){ 0 };
}
