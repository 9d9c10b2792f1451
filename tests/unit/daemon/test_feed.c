#include <criterion/criterion.h>
#include <pthread.h>
#include <string.h>

#include "rig/daemon/feed.h"

static void count_wake(void *self)
{
    __atomic_add_fetch((int *)self, 1, __ATOMIC_SEQ_CST);
}

static struct es_feed *make(size_t keep, int *wakes)
{
    struct es_feed *feed = NULL;
    struct es_error err;
    cr_assert_eq(es_feed_new(keep, count_wake, wakes, &feed, &err), ES_OK);
    return feed;
}

static void append(struct es_feed *feed, const char *json)
{
    es_feed_append(feed, json, strlen(json));
}

Test(feed, numbers_events_from_one)
{
    int wakes = 0;
    struct es_feed *feed = make(8, &wakes);
    struct es_text out = {0};
    uint64_t cursor = 1, lost;
    cr_assert_eq(es_feed_next(feed), 1);
    append(feed, "{\"event\":\"a\"}");
    append(feed, "{}");
    cr_assert_eq(wakes, 2);
    cr_assert_eq(es_feed_event(feed, &cursor, &lost, &out), ES_FEED_EVENT);
    cr_assert_str_eq(out.bytes, "{\"seq\":1,\"event\":\"a\"}");
    es_text_reset(&out);
    cr_assert_eq(es_feed_event(feed, &cursor, &lost, &out), ES_FEED_EVENT);
    cr_assert_str_eq(out.bytes, "{\"seq\":2}");
    cr_assert_eq(es_feed_event(feed, &cursor, &lost, &out), ES_FEED_NOTHING);
    cr_assert_eq(cursor, 3);
    es_text_free(&out);
    es_feed_free(feed);
}

Test(feed, readers_have_cursors_of_their_own)
{
    int wakes = 0;
    struct es_feed *feed = make(8, &wakes);
    append(feed, "{\"n\":1}");
    append(feed, "{\"n\":2}");
    struct es_text out = {0};
    uint64_t early = 1, late = 2, now = 0, beyond = 99, lost;
    cr_assert_eq(es_feed_event(feed, &early, &lost, &out), ES_FEED_EVENT);
    cr_assert_not_null(strstr(out.bytes, "\"n\":1"));
    es_text_reset(&out);
    cr_assert_eq(es_feed_event(feed, &late, &lost, &out), ES_FEED_EVENT);
    cr_assert_not_null(strstr(out.bytes, "\"n\":2"));
    cr_assert_eq(es_feed_event(feed, &now, &lost, &out), ES_FEED_NOTHING);
    cr_assert_eq(now, 3);
    cr_assert_eq(es_feed_event(feed, &beyond, &lost, &out), ES_FEED_NOTHING);
    cr_assert_eq(beyond, 3);
    es_text_free(&out);
    es_feed_free(feed);
}

Test(feed, a_slow_reader_is_told_what_it_missed)
{
    int wakes = 0;
    struct es_feed *feed = make(4, &wakes);
    for (int i = 1; i <= 10; i++)
        append(feed, "{\"n\":0}");
    struct es_text out = {0};
    uint64_t cursor = 1, lost;
    cr_assert_eq(es_feed_event(feed, &cursor, &lost, &out), ES_FEED_GAP);
    cr_assert_eq(lost, 6);
    cr_assert_eq(out.length, 0);
    int left = 0;
    while (es_feed_event(feed, &cursor, &lost, &out) == ES_FEED_EVENT)
        left++;
    cr_assert_eq(left, 4);
    cr_assert_not_null(strstr(out.bytes, "{\"seq\":7,"));
    cr_assert_not_null(strstr(out.bytes, "{\"seq\":10,"));
    es_text_free(&out);
    es_feed_free(feed);
}

Test(feed, of_values_only_the_newest_counts)
{
    int wakes = 0;
    struct es_feed *feed = make(4, &wakes);
    struct es_text json = {0}, out = {0};
    uint64_t cursor = 0;
    cr_assert_not(es_feed_newest(feed, &cursor, &out));
    es_text_add(&json, "{\"v\":1}");
    es_feed_values(feed, &json);
    cr_assert_eq(json.length, 0);
    es_text_add(&json, "{\"v\":2}");
    es_feed_values(feed, &json);
    cr_assert(es_feed_newest(feed, &cursor, &out));
    cr_assert_str_eq(out.bytes, "{\"v\":2}");
    cr_assert_not(es_feed_newest(feed, &cursor, &out));
    cr_assert_eq(es_feed_next(feed), 1, "values take no number");
    es_text_free(&json);
    es_text_free(&out);
    es_feed_free(feed);
}

static void *write_many(void *feed)
{
    struct es_text values = {0};
    for (int i = 0; i < 20000; i++) {
        append(feed, "{\"event\":\"step\"}");
        es_text_add(&values, "{\"v\":1}");
        es_feed_values(feed, &values);
    }
    es_text_free(&values);
    return NULL;
}

/* Under the thread sanitizer this shows races; without it, that numbers never repeat or run backwards. */
Test(feed, one_writer_and_a_reader_side_by_side)
{
    int wakes = 0;
    struct es_feed *feed = make(64, &wakes);
    pthread_t writer;
    cr_assert_eq(pthread_create(&writer, NULL, write_many, feed), 0);
    struct es_text out = {0};
    uint64_t cursor = 1, lost, seen = 0, gone = 0, value_cursor = 0;
    while (seen + gone < 20000) {
        uint64_t before = cursor;
        enum es_feed_read r = es_feed_event(feed, &cursor, &lost, &out);
        cr_assert_geq(cursor, before);
        seen += r == ES_FEED_EVENT;
        gone += lost;
        (void)es_feed_newest(feed, &value_cursor, &out);
        es_text_reset(&out);
    }
    pthread_join(writer, NULL);
    cr_assert_eq(seen + gone, 20000);
    es_text_free(&out);
    es_feed_free(feed);
}
