#include <cjson/cJSON.h>
#include <criterion/criterion.h>
#include <math.h>

#include "rig/console/json_writer.h"

Test(json_writer, puts_commas_and_escapes)
{
    struct es_text t = {0};
    es_json_object(&t, NULL);
    es_json_text(&t, "a", "q\"\\\n{");
    es_json_text(&t, "n", NULL);
    es_json_array(&t, "list");
    es_json_integer(&t, NULL, -7);
    es_json_number(&t, NULL, 0.5);
    es_json_number(&t, NULL, NAN);
    es_json_object(&t, NULL);
    es_json_end_object(&t);
    es_json_bool(&t, NULL, true);
    es_json_end_array(&t);
    es_json_raw(&t, "raw", "{\"x\":1}", 7);
    es_json_end_object(&t);
    cr_assert_str_eq(t.bytes,
                     "{\"a\":\"q\\\"\\\\\\n{\",\"n\":null,\"list\":[-7,0.5,null,{},true],\"raw\":{\"x\":1}}");
    cJSON *read = cJSON_Parse(t.bytes);
    cr_assert_not_null(read);
    cJSON_Delete(read);
    es_text_free(&t);
}
