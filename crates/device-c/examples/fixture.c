/*
 * A fixture's firmware in C, whole, that runs on a PC: it takes `showing` messages, which say everything, and turns them
 * into the bytes of a strip. In place of a strip it prints what the first pixel shows and what the strip would draw.
 *
 *   cargo build -p device-c
 *   cc -std=c11 -Wall -Wextra -Werror -I crates/device-c/include crates/device-c/examples/fixture.c \
 *      target/debug/libsconced_device.a -lmosquitto -lpthread -ldl -lm -o fixture
 *   FIXTURE_ID=porch FIXTURE_SECRET=... FIXTURE_PORT=1883 ./fixture
 *
 * (Debian: libmosquitto-dev.) What is set up is what enrolment prints; a controller keeps it in its flash:
 *
 *   FIXTURE_ID, FIXTURE_SECRET     user name and password, both needed
 *   FIXTURE_HOST, FIXTURE_PORT     the broker, 127.0.0.1 and 1883 unless given
 *   FIXTURE_PREFIX                 what the topics begin with, `fixtures` unless given
 *   FIXTURE_FIRST_WAIT_MS          the longest wait before the first connection, 3000 unless given
 *
 * What has to be kept, and where it is below:
 *
 *   boot             once after power-on, and again only if it was lost          say_what_is_due
 *   Last Will        {"alive":false}, retained, set before connecting            link_begin
 *   secret           the password; where it is wrong that is said                on_connect
 *   reconnecting     after growing pauses, each drawn at random                  main
 *   retained         what it says is shown; its time sets no clock               on_showing
 *   reported         each revision once shown, and again when asked live         on_showing
 *   ask              when no answer came, and after every lost connection        say_what_is_due
 *   ceiling          the low one below until a message names another             on_showing, frame_due
 */
#define _POSIX_C_SOURCE 200809L

#include <inttypes.h>
#include <mosquitto.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "sconced_device.h"

/* The strip as built, and what is safe before anything was heard: these belong into the firmware. */
enum { PIXELS = 30, FRAME_MS = 20, KEEP_ALIVE_S = 30, ANSWER_MS = 10000, TOPIC = 160 };
static const SconcedCurrents CURRENTS = {.channels = {2000, 2000, 2000, 2000}, .idle = 100}; /* of 1/100 mA */
static const uint32_t LOW_CEILING_MILLIAMPS = 150;

/* All that there is, from power-on to power-off. */
static struct {
    const char *id, *secret, *host, *prefix;
    int port;

    SconcedKeeper keeper;
    SconcedClock clock;
    SconcedPlayer player;
    SconcedLimiter limiter;
    SconcedStrip strip;
    uint16_t room[PIXELS][4];
    uint8_t frame[PIXELS * 4];
    size_t frame_bytes;
    uint32_t ceiling_milliamps;

    struct mosquitto *link;
    bool connected, refused, was_connected;
    int boot_packet; /* the boot message that is not acknowledged yet, 0 for none */
} own;

/* ---- what a controller has other calls for ---------------------------------------------------------------------- */

static uint64_t uptime_ms(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (uint64_t)now.tv_sec * 1000 + (uint64_t)now.tv_nsec / 1000000;
}

static void wait_ms(uint64_t ms)
{
    struct timespec length = {.tv_sec = (time_t)(ms / 1000), .tv_nsec = (long)(ms % 1000) * 1000000};
    nanosleep(&length, NULL);
}

/* 32 random bits. A controller asks its own source; two fixtures must not draw the same. */
static uint32_t random_bits(void)
{
    uint32_t bits = 0;
    FILE *source = fopen("/dev/urandom", "rb");
    if (source == NULL || fread(&bits, sizeof bits, 1, source) != 1) {
        bits = (uint32_t)uptime_ms() * 2654435761u;
    }
    if (source != NULL) {
        fclose(source);
    }
    return bits;
}

static void must(SconcedStatus status, const char *what)
{
    if (status < SCONCED_STATUS_OK) {
        fprintf(stderr, "%s: status %d\n", what, (int)status);
        exit(2);
    }
}

/* Unix time, by which motifs move. While no clock is set they move all the same, only not together with others. */
static uint64_t unix_ms(void)
{
    uint64_t uptime = uptime_ms(), unix_ms = uptime;
    must(sconced_clock_unix_ms(&own.clock, uptime, &unix_ms), "clock");
    return unix_ms;
}

/* ---- talking ---------------------------------------------------------------------------------------------------- */

static const char *topic(const char *what)
{
    static char text[TOPIC];
    snprintf(text, sizeof text, "%s/%s/%s", own.prefix, own.id, what);
    return text;
}

/* Publishes with QoS 1; gives the packet's number, 0 when it did not go out. */
static int say(const char *what, const char *payload, bool retained)
{
    int packet = 0;
    int done = mosquitto_publish(own.link, &packet, topic(what), (int)strlen(payload), payload, 1, retained);
    if (done != MOSQ_ERR_SUCCESS) {
        fprintf(stderr, "%s: %s\n", what, mosquitto_strerror(done));
        return 0;
    }
    return packet;
}

static void say_revision(const char *what, const char *member)
{
    uint64_t have;
    char payload[64];
    must(sconced_keeper_have(&own.keeper, &have), "have");
    snprintf(payload, sizeof payload, "{\"%s\":%" PRIu64 "}", member, have);
    say(what, payload, false);
}

/* The boot message and the asks: the keeper knows when. */
static void say_what_is_due(void)
{
    bool due;
    must(sconced_keeper_boot_due(&own.keeper, &due), "boot");
    if (due) {
        own.boot_packet = say("boot", "{\"reason\":\"power-on\",\"have\":0,\"firmware\":\"example-c\"}", false);
        must(sconced_keeper_boot_sent(&own.keeper, uptime_ms(), random_bits()), "boot");
        return;
    }
    must(sconced_keeper_ask_due(&own.keeper, uptime_ms(), &due), "ask");
    if (due) {
        say_revision("ask", "have");
        must(sconced_keeper_ask_sent(&own.keeper, uptime_ms(), random_bits()), "ask");
    }
}

/* ---- listening -------------------------------------------------------------------------------------------------- */

static void on_showing(const char *text, size_t length, bool retained)
{
    SconcedShowing showing;
    SconcedTaking taking;
    if (sconced_showing_read(text, length, &showing) != SCONCED_STATUS_OK) {
        fprintf(stderr, "a showing message that cannot be read: %.*s\n", (int)length, text);
        return;
    }
    must(sconced_keeper_on_showing(&own.keeper, showing.rev, showing.now_ms, retained, &taking), "showing");
    if (taking == SCONCED_TAKING_TAKE || taking == SCONCED_TAKING_RENEW) {
        /* stored news of unknown age: its look counts, its time does not, and the clock minds that */
        must(sconced_clock_hear(&own.clock, showing.now_ms, retained, uptime_ms()), "clock");
        if (showing.has_ceiling) {
            own.ceiling_milliamps = showing.ceiling_milliamps;
        }
        must(sconced_player_set(&own.player, &showing.look, showing.fade_ms, unix_ms(), uptime_ms()), "look");
        printf("showing rev=%" PRIu64 " look=%s retained=%d\n", showing.rev, showing.name, retained);
    }
    if (taking == SCONCED_TAKING_TAKE || (taking != SCONCED_TAKING_IGNORE && !retained)) {
        say_revision("reported", "rev");
    }
}

static void on_problem(const char *text, size_t length)
{
    bool never_given;
    printf("problem %.*s\n", (int)length, text);
    if (sconced_problem_is_never_given(text, length, &never_given) == SCONCED_STATUS_OK && never_given) {
        must(sconced_keeper_never_given(&own.keeper, uptime_ms()), "problem");
    }
}

static void on_message(struct mosquitto *link, void *data, const struct mosquitto_message *message)
{
    (void)link, (void)data;
    size_t length = message->payloadlen > 0 ? (size_t)message->payloadlen : 0;
    if (strcmp(message->topic, topic("showing")) == 0) {
        on_showing(message->payload, length, message->retain);
    } else if (strcmp(message->topic, topic("problem")) == 0) {
        on_problem(message->payload, length);
    }
}

/* The broker's answer to the connection. Nothing is sent before it: the will of an older connection comes first. */
static void on_connect(struct mosquitto *link, void *data, int code)
{
    (void)data;
    if (code != 0) {
        /* 4 and 5 of MQTT 3.1.1, section 3.2.2.3: id or secret */
        printf("refused: %s%s\n", mosquitto_connack_string(code),
               code == 4 || code == 5 ? " (is the secret that of the last enrolment?)" : "");
        own.refused = true;
        return;
    }
    own.connected = true;
    mosquitto_subscribe(link, NULL, topic("showing"), 1);
    mosquitto_subscribe(link, NULL, topic("problem"), 1);
    say("alive", "{\"alive\":true}", true);
    if (own.was_connected) {
        /* power was not lost, but something may have been missed: an ask is due, not a boot */
        must(sconced_keeper_reconnected(&own.keeper, uptime_ms()), "reconnected");
    }
    own.was_connected = true;
    printf("connected\n");
}

static void on_publish(struct mosquitto *link, void *data, int packet)
{
    (void)link, (void)data;
    if (packet == own.boot_packet) {
        own.boot_packet = 0; /* acknowledged */
    }
}

/* ---- the strip -------------------------------------------------------------------------------------------------- */

/* Makes the frame of now, keeps it below the ceiling, and prints it where a controller would send it. */
static void frame_due(void)
{
    static uint8_t last[sizeof own.frame];
    static uint64_t next_ms, printed_ms;
    static bool printed;
    SconcedDrawn drawn;
    uint64_t now = uptime_ms();
    bool moves;
    if (now < next_ms) {
        return;
    }
    next_ms = now + FRAME_MS;
    must(sconced_player_frame(&own.player, &own.strip, 0, unix_ms(), now, own.frame, sizeof own.frame,
                              &own.frame_bytes), "frame");
    must(sconced_limiter_limit(&own.limiter, &own.strip, &CURRENTS, own.ceiling_milliamps, now, own.frame,
                               own.frame_bytes, &drawn), "limit");
    must(sconced_player_moves(&own.player, unix_ms(), now, &moves), "moves");
    bool changed = !printed || memcmp(last, own.frame, own.frame_bytes) != 0;
    /* four times a second while it moves, and once when it has come to rest */
    if (changed && (!moves || now >= printed_ms + 250)) {
        printf("strip first=#%02x%02x%02x drawn=%" PRIu64 ".%02" PRIu64 "mA ceiling=%" PRIu32 "mA\n", own.frame[1],
               own.frame[0], own.frame[2], drawn.drawn / 100, drawn.drawn % 100, own.ceiling_milliamps);
        memcpy(last, own.frame, own.frame_bytes);
        printed = true;
        printed_ms = now;
    }
}

static void strip_begin(void)
{
    SconcedLook first;
    size_t pixels = 0;
    must(sconced_strip_begin(&own.strip, SCONCED_CHIP_WS2812B, PIXELS), "strip");
    must(sconced_strip_pixels(&own.strip, &pixels), "strip");
    must(sconced_player_begin(&own.player, own.room, pixels), "player");
    must(sconced_limiter_begin(&own.limiter), "limiter");
    own.ceiling_milliamps = LOW_CEILING_MILLIAMPS;
    /* what shows until something was heard: after a cut of the whole house the router alone takes minutes */
    must(sconced_look_dark(&first), "look");
    memcpy(first.colours[0], ((const uint16_t[4]){2600, 1100, 260, 0}), sizeof first.colours[0]);
    must(sconced_player_set(&own.player, &first, 1000, unix_ms(), uptime_ms()), "look");
}

/* ---- connecting ------------------------------------------------------------------------------------------------- */

static const char *setting(const char *name, const char *otherwise)
{
    const char *value = getenv(name);
    if (value == NULL || *value == '\0') {
        value = otherwise;
    }
    if (value == NULL) {
        fprintf(stderr, "%s is missing: enrolment prints it\n", name);
        exit(2);
    }
    return value;
}

/* Anew for each connection, so that the library sends nothing of an older one: the keeper knows what is due. */
static void link_begin(void)
{
    /* the client id is the fixture's; a clean session is enough, since boot and ask bring the newest state */
    own.link = mosquitto_new(own.id, true, NULL);
    if (own.link == NULL || mosquitto_username_pw_set(own.link, own.id, own.secret) != MOSQ_ERR_SUCCESS
        || mosquitto_will_set(own.link, topic("alive"), 15, "{\"alive\":false}", 1, true) != MOSQ_ERR_SUCCESS) {
        fprintf(stderr, "id, secret or prefix cannot be used\n");
        exit(2);
    }
    mosquitto_int_option(own.link, MOSQ_OPT_TCP_NODELAY, 1);
    mosquitto_connect_callback_set(own.link, on_connect);
    mosquitto_message_callback_set(own.link, on_message);
    mosquitto_publish_callback_set(own.link, on_publish);
}

/* One connection, from its beginning to its end; says whether it lasted. The strip goes on meanwhile. */
static bool connection(void)
{
    uint64_t begun = uptime_ms();
    own.connected = own.refused = false;
    link_begin();
    int done = mosquitto_connect(own.link, own.host, own.port, KEEP_ALIVE_S);
    while (done == MOSQ_ERR_SUCCESS && !own.refused) {
        done = mosquitto_loop(own.link, FRAME_MS / 2, 1);
        if (own.connected) {
            say_what_is_due();
        } else if (uptime_ms() - begun > ANSWER_MS) {
            done = MOSQ_ERR_TIMEOUT;
        }
        frame_due();
    }
    mosquitto_destroy(own.link);
    if (own.boot_packet != 0) {
        must(sconced_keeper_boot_lost(&own.keeper), "boot");
        own.boot_packet = 0;
    }
    if (!own.refused) {
        printf("no connection: %s\n", mosquitto_strerror(done));
    }
    return own.connected && uptime_ms() - begun > ANSWER_MS;
}

/* Waits without stopping the strip. */
static void rest(uint64_t ms)
{
    for (uint64_t until = uptime_ms() + ms; uptime_ms() < until; wait_ms(FRAME_MS / 2)) {
        frame_due();
    }
}

int main(void)
{
    SconcedPause pause;
    setvbuf(stdout, NULL, _IOLBF, 0);
    own.id = setting("FIXTURE_ID", NULL);
    own.secret = setting("FIXTURE_SECRET", NULL);
    own.host = setting("FIXTURE_HOST", "127.0.0.1");
    own.port = (int)strtol(setting("FIXTURE_PORT", "1883"), NULL, 10);
    own.prefix = setting("FIXTURE_PREFIX", "fixtures");
    uint64_t first_wait = strtoull(setting("FIXTURE_FIRST_WAIT_MS", "3000"), NULL, 10);

    must(sconced_keeper_begin(&own.keeper, SCONCED_FIRMWARE_SHOWING), "keeper");
    must(sconced_clock_begin(&own.clock), "clock");
    must(sconced_pause_begin(&pause, 1000, 60000), "pause");
    strip_begin();
    mosquitto_lib_init();

    /* a house that got its power back does not connect at one instant */
    rest(first_wait * random_bits() >> 32);
    for (;;) {
        uint64_t length;
        if (connection()) {
            must(sconced_pause_reset(&pause), "pause");
        }
        must(sconced_pause_next(&pause, random_bits(), &length), "pause");
        printf("again in %" PRIu64 " ms\n", length);
        rest(length);
    }
}
