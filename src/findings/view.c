/* Views: putting them together. */
#include "findings/view.h"

#include <string.h>

#include "base/error.h"

void view_begin(struct view *v, const char *kind)
{
	*v = (struct view){ .kind = kind };
	v->findings.pool = &v->pool;
	v->title = v->subtitle = v->head = "";
}

int view_end(struct view *v, struct error *err)
{
	const char *kind = v->kind;

	if (!v->pool.failed && v->findings.count)
		return 0;
	view_release(v);
	return error_set(err, ERROR_IO, "out of memory for the results of '%s'", kind);
}

void view_release(struct view *v)
{
	pool_release(&v->pool);
	*v = (struct view){ 0 };
}

/* Room for one more thing in a list of count things; NULL: out of memory. */
static void *grow(struct pool *p, void *list, size_t count, size_t *room, size_t size)
{
	void *grown;

	if (count < *room)
		return list;
	grown = pool_alloc(p, count ? 2 * count : 16, size);
	if (!grown)
		return NULL;
	if (count)
		memcpy(grown, list, count * size);
	*room = count ? 2 * count : 16;
	return grown;
}

static void add_fact(struct view *v, struct fact f)
{
	struct fact *grown =
		grow(&v->pool, v->facts, v->fact_count, &v->fact_room, sizeof *v->facts);

	if (!grown)
		return;
	v->facts = grown;
	f.value = pool_printf(&v->pool, "%s", f.value);
	v->facts[v->fact_count++] = f;
}

void view_fact(struct view *v, const char *name, const char *value)
{
	add_fact(v, (struct fact){ name, value, false });
}

void view_fact_command(struct view *v, const char *name, const char *value)
{
	add_fact(v, (struct fact){ name, value, true });
}

void view_section(struct view *v, struct section s)
{
	struct section *grown = grow(
		&v->pool, v->sections, v->section_count, &v->section_room, sizeof *v->sections);

	if (!grown)
		return;
	v->sections = grown;
	v->sections[v->section_count++] = s;
}

void view_table(struct view *v, const struct table_spec *spec, const void *rows, size_t count)
{
	if (v->table_count < VIEW_TABLES_MAX && (count || spec->json != JSON_BARE))
		v->tables[v->table_count++] = (struct table){ spec, rows, count };
	else
		v->pool.failed = true;
}

const struct table *view_find_table(const struct view *v, const char *key)
{
	for (size_t i = 0; i < v->table_count; i++)
		if (!strcmp(v->tables[i].spec->key, key))
			return &v->tables[i];
	return NULL;
}
