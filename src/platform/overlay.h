/* Overlay filesystems show a file that really lies in another one (Linux, Documentation/filesystems/overlayfs.rst). Who
 * knows where can get at it past the overlay: under another device and inode, past every lock. */
#ifndef PLATFORM_OVERLAY_H
#define PLATFORM_OVERLAY_H

/* Opens, for reading, the file in the upper folder that the open file fd is kept in. A descriptor; -ENOENT when fd is on no
 * overlay, is not in its upper folder (yet: it gets there when it is opened for writing), or when that folder cannot be seen
 * from here (in a container); or another negative errno. */
int overlay_open_upper(int fd);

#endif
