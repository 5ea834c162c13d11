/* What must hold of every view, whatever the kind; and that a test has brought out every code of a kind. */
#ifndef SUPPORT_VIEW_CHECK_H
#define SUPPORT_VIEW_CHECK_H

#include "findings/view.h"

/* Fails unless every finding has the figures that its code lists, and every key bears the unit of its values. Notes the
 * codes. */
void view_check(const struct view *v);

/* Fails unless every code of that kind of view was noted since the last call, and of "run" those of any run. */
void view_check_all_codes(const char *kind);

#endif
