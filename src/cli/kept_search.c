/* Saved data of earlier runs. */
#include "cli/kept_search.h"

#include <dirent.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/text.h"
#include "cli/message.h"
#include "cli/session_keep.h"
#include "integrity/kept.h"

static const char suffix[] = ".kept";

/* ---- where ---- */

void kept_folders_add(struct kept_folders *f, const char *folder)
{
	char *full = realpath(folder, NULL);
	bool known = !full || f->count == KEPT_FOLDERS_MAX || strlen(full) >= sizeof *f->paths;

	for (size_t i = 0; i < f->count && !known; i++)
		known = !strcmp(f->paths[i], full);
	if (!known)
		text_copy(f->paths[f->count++], sizeof *f->paths, full);
	free(full);
}

void kept_folders_add_of(struct kept_folders *f, const char *file)
{
	char folder[PATH_MAX];
	const char *slash = strrchr(file, '/');

	if (!*file)
		return;
	snprintf(folder, sizeof folder, "%.*s", slash ? (int)(slash - file + 1) : 1,
		slash ? file : ".");
	kept_folders_add(f, folder);
}

static bool ends_in(const char *name, const char *end)
{
	size_t n = strlen(name), m = strlen(end);

	return n > m && !strcmp(name + n - m, end);
}

static bool visit_file(const char *path, kept_visit *visit, void *context)
{
	struct error unheard = { 0 };
	struct kept *k;
	bool go_on = true;

	/* One that is not whole belongs to a target that was not written. */
	if (kept_open(&k, path, &unheard) == 0)
		go_on = visit(context, k, path);
	kept_close(k);
	return go_on;
}

static bool visit_folder(const char *folder, kept_visit *visit, void *context)
{
	DIR *dir = opendir(folder);
	struct dirent *e;
	bool go_on = true;

	while (dir && go_on && (e = readdir(dir)) != NULL) {
		char path[PATH_MAX + 256];

		if (!ends_in(e->d_name, suffix))
			continue;
		snprintf(path, sizeof path, "%s/%s", strcmp(folder, "/") ? folder : "", e->d_name);
		go_on = visit_file(path, visit, context);
	}
	if (dir)
		closedir(dir);
	return go_on;
}

void kept_search(const struct kept_folders *f, kept_visit *visit, void *context)
{
	for (size_t i = 0; i < f->count; i++)
		if (!visit_folder(f->paths[i], visit, context))
			return;
}

bool kept_is_named(const struct kept_identity *saved, const struct kept_identity *target)
{
	return !strcmp(saved->token, target->token) && !strcmp(saved->place, target->place) &&
	       saved->size_bytes == target->size_bytes;
}

/* ---- beside an open target ---- */

struct telling {
	struct medium *m;
	const struct kept_identity *here;
	const char *target;
};

static void tell_of_run(const struct kept_identity *id, char *out, size_t room)
{
	if (*id->run)
		snprintf(out, room, "the %s %s", !strcmp(id->kind, "journal") ? "cut" : id->kind,
			id->run);
	else
		snprintf(out, room, "an earlier run");
}

/* The run's test data is here: no doubt that its own data is not. */
static void tell_that_data_is_away(const struct telling *t, const struct kept_identity *id,
	const char *path, const char *command)
{
	char run[80];

	tell_of_run(id, run, sizeof run);
	message_warning("'%s' does NOT hold its own data: it holds test data from %s, which did "
			"not come to its end. Its own data was saved in '%s'. %s\n    %s",
		t->target, run, path,
		!strcmp(id->kind, "journal")
			? "Recheck its journal first if you still mean to; then put the data back:"
			: "Put it back first:",
		command);
}

static void tell_of_saved(const struct telling *t, const struct kept_identity *id,
	const struct kept_look *l, const char *path, const char *command)
{
	unsigned long long all = kept_look_all(l), same = l->blocks[KEPT_SAVED];
	char run[80];

	tell_of_run(id, run, sizeof run);
	message_note("'%s' holds data that %s saved from '%s'; of %llu blocks looked at %llu are "
		     "as saved. If it was put back, that file can be deleted; if not:\n    %s",
		path, run, t->target, all, same, command);
}

static bool look_at(void *context, const struct kept *k, const char *path)
{
	const struct telling *t = context;
	const struct kept_identity *id = kept_identity(k);
	struct kept_look look;
	struct text command;

	if (kept_in_use(k) || id->size_bytes != t->here->size_bytes ||
		id->logical_block_bytes != t->here->logical_block_bytes ||
		kept_sample(k, t->m, &look) < 0)
		return true;
	text_init(&command);
	keep_restore_command(&command, path, t->target);
	if (look.blocks[KEPT_RUN])
		tell_that_data_is_away(t, id, path, command.bytes);
	else if (kept_is_named(id, t->here))
		tell_of_saved(t, id, &look, path, command.bytes);
	text_release(&command);
	return true;
}

void kept_search_tell(struct medium *m, const struct kept_identity *here, const char *target,
	const char *record_path)
{
	static bool told;
	struct telling t = { m, here, target };
	struct kept_folders *f = calloc(1, sizeof *f);

	if (!told && f) {
		kept_folders_add(f, ".");
		kept_folders_add_of(f, record_path ? record_path : "");
		kept_folders_add_of(f, here->place);
		kept_search(f, look_at, &t);
	}
	told = true;
	free(f);
}
