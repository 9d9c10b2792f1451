/* Paths in a bench file are relative to the file. */
#ifndef ES_DRIVERS_TRANSPORT_BESIDE_H
#define ES_DRIVERS_TRANSPORT_BESIDE_H

#include "rig/base/document.h"

/* Replaces a relative *path (allocated; NULL allowed) by one in the document's folder. False when memory is
 * short
 * (*path is then as it was). */
bool es_path_beside(const struct es_document *doc, char **path);

#endif
