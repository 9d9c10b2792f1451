#include "drivers/transport/beside.h"

#include <stdlib.h>
#include <string.h>

bool es_path_beside(const struct es_document *doc, char **path)
{
    const char *name = es_document_name(doc);
    const char *slash = strrchr(name, '/');
    if (!*path || (*path)[0] == '/' || !slash)
        return true;
    size_t folder = (size_t)(slash - name) + 1, length = strlen(*path) + 1;
    char *whole = malloc(folder + length);
    if (!whole)
        return false;
    memcpy(whole, name, folder);
    memcpy(whole + folder, *path, length);
    free(*path);
    *path = whole;
    return true;
}
