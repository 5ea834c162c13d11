/* A folder unpacked from a text description, for tests that read recorded kernel trees. */
#ifndef SUPPORT_TREE_H
#define SUPPORT_TREE_H

/* Unpacks tests/data/NAME into a new temporary folder and returns its path (aborts the test on failure). The form is
 * told in the files themselves. One tree at a time. */
const char *tree_unpack(const char *name);

/* Adds or replaces one file in it. */
void tree_put(const char *path, const char *content);

/* Makes one of its files a link to `to`. */
void tree_link(const char *path, const char *to);

/* Removes it. */
void tree_remove(void);

#endif
