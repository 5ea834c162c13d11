/* fcntl(2), flock(2). */
#include "platform/file_lock.h"

#include <errno.h>
#include <fcntl.h>
#include <linux/magic.h>
#include <signal.h>
#include <sys/file.h>
#include <sys/vfs.h>

#ifndef SMB2_SUPER_MAGIC
#define SMB2_SUPER_MAGIC 0xFE534D42
#endif
#ifndef CIFS_SUPER_MAGIC
#define CIFS_SUPER_MAGIC 0xFF534D42
#endif

/* There flock is the other lock under another name (flock(2), "NFS details"), and would meet our own. */
static bool is_on_server(int fd)
{
	struct statfs fs;

	return fstatfs(fd, &fs) == 0 &&
	       (fs.f_type == NFS_SUPER_MAGIC || (unsigned)fs.f_type == SMB2_SUPER_MAGIC ||
		       (unsigned)fs.f_type == CIFS_SUPER_MAGIC);
}

static bool may_write(int fd)
{
	return (fcntl(fd, F_GETFL) & O_ACCMODE) != O_RDONLY;
}

int file_lock_description(int fd, bool exclusive)
{
	struct flock all = { .l_type = exclusive ? F_WRLCK : F_RDLCK, .l_whence = SEEK_SET };

	if (exclusive && !may_write(fd))
		return fcntl(fd, F_OFD_GETLK, &all) == 0 && all.l_type != F_UNLCK ? -EAGAIN : 0;
	return fcntl(fd, F_OFD_SETLK, &all) < 0 && (errno == EAGAIN || errno == EACCES) ? -EAGAIN
											: 0;
}

int file_lock(int fd, bool exclusive)
{
	int rc = file_lock_description(fd, exclusive);

	if (rc || is_on_server(fd))
		return rc;
	return flock(fd, (exclusive ? LOCK_EX : LOCK_SH) | LOCK_NB) < 0 && errno == EWOULDBLOCK
		       ? -EAGAIN
		       : 0;
}

int file_is_written(int fd)
{
	/* Who opens it in between breaks the lease, and is announced by a signal: by one that nobody minds. */
	if (fcntl(fd, F_SETSIG, SIGURG) < 0)
		return -errno;
	if (fcntl(fd, F_SETLEASE, F_RDLCK) < 0)
		return errno == EAGAIN || errno == EBUSY ? 1 : -errno;
	return fcntl(fd, F_SETLEASE, F_UNLCK) < 0 ? -errno : 0;
}
