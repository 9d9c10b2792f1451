/* Likely causes, where the certificate names any. */
#include <math.h>
#include <stdio.h>

#include "results/page/sheet.h"
#include "rig/base/text.h"

void es_draw_causes(struct es_sheet *s)
{
    (void)s;
}
