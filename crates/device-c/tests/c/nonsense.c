/* Null and misaligned pointers, short buffers, structs that were not begun, and numbers that mean nothing. */
#include <string.h>

#include "check.h"
#include "sconced_device.h"

#define POINTER(call) CHECK((call) == SCONCED_STATUS_ERROR_POINTER)
#define SHORT(call) CHECK((call) == SCONCED_STATUS_ERROR_SHORT)
#define RANGE(call) CHECK((call) == SCONCED_STATUS_ERROR_RANGE)
#define NOT_BEGUN(call) CHECK((call) == SCONCED_STATUS_ERROR_NOT_BEGUN)
#define MESSAGE(call) CHECK((call) == SCONCED_STATUS_ERROR_MESSAGE)
#define OK(call) CHECK((call) == SCONCED_STATUS_OK)

static SconcedStrip strip;
static SconcedLook look;
static SconcedCurrents currents = {{2000, 2000, 2000, 2000}, 100};
static uint8_t frame[9];
static size_t bytes;

static void strips(void)
{
    OK(sconced_strip_begin(&strip, SCONCED_CHIP_WS2812B, 3));
    OK(sconced_look_dark(&look));
    POINTER(sconced_strip_begin(NULL, SCONCED_CHIP_WS2812B, 3));
    POINTER(sconced_look_dark(NULL));
    RANGE(sconced_strip_begin(&strip, 0, 3));
    RANGE(sconced_strip_begin(&strip, 8, 3));
    RANGE(sconced_strip_begin(&strip, 255, 3));
    SconcedChip chip;
    POINTER(sconced_chip_of(NULL, 3, &chip));
    POINTER(sconced_chip_of("apa102", 6, NULL));
    RANGE(sconced_chip_of("apa10", 5, &chip));
    RANGE(sconced_chip_of("\xff\xfe", 2, &chip));
    RANGE(sconced_chip_of(NULL, 0, &chip));

    POINTER(sconced_strip_bytes(NULL, &bytes));
    POINTER(sconced_strip_bytes(&strip, NULL));
    POINTER(sconced_strip_bytes((const SconcedStrip *)((uintptr_t)&strip + 1), &bytes));
    POINTER(sconced_strip_pixels(NULL, &bytes));
    POINTER(sconced_strip_pixels(&strip, NULL));
    bool fits;
    POINTER(sconced_dither_fits(&strip, 1, 400, NULL));
    OK(sconced_dither_fits(&strip, 0, 0, &fits));
    OK(sconced_dither_fits(&strip, UINT32_MAX, UINT32_MAX, &fits));

    SconcedStrip bad = strip;
    bad.chip = 99;
    RANGE(sconced_strip_bytes(&bad, &bytes));
    for (unsigned global = 0; global < 256; global++) {
        bad = strip;
        bad.global = (uint8_t)global;
        SconcedStatus status = sconced_strip_bytes(&bad, &bytes);
        CHECK(status == (global >= 1 && global <= 31 ? SCONCED_STATUS_OK : SCONCED_STATUS_ERROR_RANGE));
    }
    bad = strip;
    bad.balance[3] = 1001;
    RANGE(sconced_strip_bytes(&bad, &bytes));
    const char orders[][5] = {"rg", "rgg", "grbw", "xyz", "\xff\xff\xff", {'g', 'r', 'b', 'w', 'g'}};
    for (size_t at = 0; at < sizeof orders / sizeof *orders; at++) {
        bad = strip;
        memcpy(bad.order, orders[at], sizeof bad.order);
        RANGE(sconced_strip_bytes(&bad, &bytes));
    }
    bad = strip;
    bad.run_count = 2;
    POINTER(sconced_strip_bytes(&bad, &bytes)); /* runs are said to be at null */
    const uint32_t runs[2][2] = {{UINT32_MAX, 0}, {0, UINT32_MAX}};
    bad.runs = runs;
    OK(sconced_strip_pixels(&bad, &bytes));
    CHECK(bytes == 6);
    bad.run_count = SIZE_MAX;
    RANGE(sconced_strip_bytes(&bad, &bytes));

    SHORT(sconced_frame(&strip, &look, 0, frame, sizeof frame - 1, NULL));
    SHORT(sconced_frame(&strip, &look, 0, NULL, 0, NULL));
    POINTER(sconced_frame(&strip, &look, 0, NULL, sizeof frame, NULL));
    POINTER(sconced_frame(NULL, &look, 0, frame, sizeof frame, NULL));
    POINTER(sconced_frame(&strip, NULL, 0, frame, sizeof frame, NULL));
    RANGE(sconced_frame(&strip, &look, 0, frame, SIZE_MAX, NULL));
    OK(sconced_frame(&strip, &look, UINT64_MAX, frame, sizeof frame, NULL));
    bad = strip;
    bad.pixels = bad.skip = UINT32_MAX;
    SHORT(sconced_frame(&bad, &look, 0, frame, sizeof frame, NULL));
    bad.chip = SCONCED_CHIP_APA102;
    SHORT(sconced_frame(&bad, &look, 0, frame, sizeof frame, NULL));
}

static void looks(void)
{
    uint16_t picture[3][4];
    SconcedLook bad = look;
    bad.colour_count = 0;
    RANGE(sconced_look_picture(&bad, 0, picture, 3));
    bad.colour_count = 9;
    RANGE(sconced_look_picture(&bad, 0, picture, 3));
    bad = look;
    bad.motif = 7;
    RANGE(sconced_look_picture(&bad, 0, picture, 3));
    bad = look;
    bad.toward = 2;
    RANGE(sconced_look_picture(&bad, 0, picture, 3));
    POINTER(sconced_look_picture(NULL, 0, picture, 3));
    POINTER(sconced_look_picture(&look, 0, NULL, 3));
    POINTER(sconced_look_picture(&look, 0, (uint16_t(*)[4])((uintptr_t)picture + 1), 2));
    OK(sconced_look_picture(&look, 0, NULL, 0));
    RANGE(sconced_look_picture(&look, 0, picture, SIZE_MAX / 4));
    /* any bytes at all are a look or an error */
    uint32_t random = 1;
    for (unsigned round = 0; round < 2000; round++) {
        uint8_t any[sizeof bad];
        for (size_t at = 0; at < sizeof any; at++) {
            random = random * 1664525 + 1013904223;
            any[at] = (uint8_t)(random >> 24);
        }
        memcpy(&bad, any, sizeof bad);
        bad.colour_count %= 11;
        bad.motif %= 9;
        bad.toward %= 3;
        SconcedStatus status = sconced_look_picture(&bad, random, picture, 3);
        bool sound = bad.colour_count >= 1 && bad.colour_count <= 8 && bad.motif < 7 && bad.toward < 2;
        CHECK(status == (sound ? SCONCED_STATUS_OK : SCONCED_STATUS_ERROR_RANGE));
    }
}

static void currents_and_limits(void)
{
    SconcedLimiter limiter = {{0}};
    SconcedDrawn drawn;
    uint64_t hundredths;
    POINTER(sconced_current(&strip, NULL, frame, sizeof frame, &hundredths));
    POINTER(sconced_current(&strip, &currents, NULL, sizeof frame, &hundredths));
    POINTER(sconced_current(&strip, &currents, frame, sizeof frame, NULL));
    SHORT(sconced_current(&strip, &currents, frame, sizeof frame - 1, &hundredths));
    SHORT(sconced_limit(&strip, &currents, 5, frame, 0, &drawn));
    POINTER(sconced_limit(NULL, &currents, 5, frame, sizeof frame, &drawn));
    POINTER(sconced_limit(&strip, &currents, 5, frame, sizeof frame, (SconcedDrawn *)((uintptr_t)&drawn + 2)));
    OK(sconced_limit(&strip, &currents, UINT32_MAX, frame, sizeof frame, NULL));
    NOT_BEGUN(sconced_limiter_limit(&limiter, &strip, &currents, 5, 0, frame, sizeof frame, &drawn));
    POINTER(sconced_limiter_begin(NULL));
    OK(sconced_limiter_begin(&limiter));
    POINTER(sconced_limiter_limit(NULL, &strip, &currents, 5, 0, frame, sizeof frame, &drawn));
    SHORT(sconced_limiter_limit(&limiter, &strip, &currents, 5, 0, frame, 8, &drawn));
    OK(sconced_limiter_limit(&limiter, &strip, &currents, 0, UINT64_MAX, frame, sizeof frame, &drawn));
}

static void players(void)
{
    SconcedPlayer player = {{0}};
    uint16_t room[3][4], picture[3][4];
    bool moves;
    NOT_BEGUN(sconced_player_set(&player, &look, 0, 0, 0));
    NOT_BEGUN(sconced_player_moves(&player, 0, 0, &moves));
    NOT_BEGUN(sconced_player_picture(&player, 0, 0, picture, 3));
    NOT_BEGUN(sconced_player_frame(&player, &strip, 0, 0, 0, frame, sizeof frame, NULL));
    POINTER(sconced_player_begin(NULL, room, 3));
    POINTER(sconced_player_begin(&player, NULL, 3));
    RANGE(sconced_player_begin(&player, room, SIZE_MAX));
    NOT_BEGUN(sconced_player_moves(&player, 0, 0, &moves)); /* an error begins nothing */
    OK(sconced_player_begin(&player, room, 3));
    POINTER(sconced_player_set(&player, NULL, 0, 0, 0));
    POINTER(sconced_player_set(NULL, &look, 0, 0, 0));
    POINTER(sconced_player_moves(&player, 0, 0, NULL));
    POINTER(sconced_player_picture(&player, 0, 0, NULL, 3));
    SHORT(sconced_player_picture(&player, 0, 0, picture, 2));
    POINTER(sconced_player_frame(&player, NULL, 0, 0, 0, frame, sizeof frame, NULL));
    SHORT(sconced_player_frame(&player, &strip, 0, 0, 0, frame, sizeof frame - 1, NULL));
    RANGE(sconced_player_frame(&player, &strip, 1, 0, 0, frame, sizeof frame, NULL));
    SconcedStrip longer = strip;
    longer.pixels = 4;
    uint8_t large[12];
    RANGE(sconced_player_frame(&player, &longer, 0, 0, 0, large, sizeof large, NULL));
    POINTER(sconced_player_frame_dithered(&player, &strip, 0, 0, 0, 1, NULL, sizeof frame, NULL));
    /* times at their ends, and going backwards */
    look.motif = SCONCED_MOTIF_GLINT;
    const uint64_t times[] = {0, UINT64_MAX, 1, UINT64_MAX - 1, 0};
    for (size_t at = 0; at < sizeof times / sizeof *times; at++) {
        look.seed = (uint16_t)at;
        OK(sconced_player_set(&player, &look, UINT32_MAX, times[at], times[at]));
        OK(sconced_player_frame(&player, &strip, 0, UINT64_MAX - times[at], times[at], frame, sizeof frame, NULL));
    }
    /* no pixels at all */
    OK(sconced_player_begin(&player, NULL, 0));
    OK(sconced_player_set(&player, &look, 5, 0, 0));
    OK(sconced_player_picture(&player, 0, 0, NULL, 0));
}

static void keepers_clocks_and_pauses(void)
{
    SconcedKeeper keeper = {{0}};
    SconcedClock clock = {{0}};
    SconcedPause pause = {{0}};
    SconcedTaking taking;
    SconcedPatchTaking patch;
    uint64_t number;
    uint32_t named;
    bool is;
    RANGE(sconced_keeper_begin(&keeper, 3));
    POINTER(sconced_keeper_begin(NULL, 0));
    NOT_BEGUN(sconced_keeper_have(&keeper, &number));
    NOT_BEGUN(sconced_keeper_on_showing(&keeper, 1, 1, false, &taking));
    NOT_BEGUN(sconced_keeper_on_desired(&keeper, 1, 1, false, &taking));
    NOT_BEGUN(sconced_keeper_on_patch(&keeper, 1, 2, 3, &patch));
    NOT_BEGUN(sconced_keeper_boot_due(&keeper, &is));
    NOT_BEGUN(sconced_keeper_boot_sent(&keeper, 1, 2));
    NOT_BEGUN(sconced_keeper_boot_lost(&keeper));
    NOT_BEGUN(sconced_keeper_ask_due(&keeper, 1, &is));
    NOT_BEGUN(sconced_keeper_ask_sent(&keeper, 1, 2));
    NOT_BEGUN(sconced_keeper_next_ask(&keeper, &number));
    NOT_BEGUN(sconced_keeper_never_given(&keeper, 1));
    NOT_BEGUN(sconced_keeper_reconnected(&keeper, 1));
    NOT_BEGUN(sconced_keeper_is_waiting(&keeper, &is));
    OK(sconced_keeper_begin(&keeper, SCONCED_FIRMWARE_SHOWING));
    POINTER(sconced_keeper_on_showing(&keeper, 9, 9, false, NULL));
    POINTER(sconced_keeper_on_showing(NULL, 9, 9, false, &taking));
    OK(sconced_keeper_have(&keeper, &number));
    CHECK(number == 0); /* what was refused has changed nothing */
    OK(sconced_keeper_on_showing(&keeper, UINT64_MAX, UINT64_MAX, false, &taking));
    OK(sconced_keeper_boot_sent(&keeper, UINT64_MAX, UINT32_MAX));
    /* one struct in place of another */
    NOT_BEGUN(sconced_clock_unix_ms((const SconcedClock *)(const void *)&keeper, 0, &number));

    NOT_BEGUN(sconced_clock_hear(&clock, 1, false, 1));
    NOT_BEGUN(sconced_clock_set(&clock, 1, 1));
    NOT_BEGUN(sconced_clock_unix_seconds(&clock, 1, &number));
    POINTER(sconced_clock_begin(NULL));
    OK(sconced_clock_begin(&clock));
    POINTER(sconced_clock_unix_ms(&clock, 1, NULL));
    OK(sconced_clock_set(&clock, UINT64_MAX, 0));
    OK(sconced_clock_unix_ms(&clock, UINT64_MAX, &number));
    OK(sconced_clock_uptime_of(&clock, UINT64_MAX, &number));

    NOT_BEGUN(sconced_pause_next(&pause, 1, &number));
    NOT_BEGUN(sconced_pause_reset(&pause));
    POINTER(sconced_pause_begin(NULL, 1, 2));
    OK(sconced_pause_begin(&pause, UINT32_MAX, 0));
    OK(sconced_pause_next(&pause, UINT32_MAX, &number));
    POINTER(sconced_pause_next(&pause, 0, NULL));

    POINTER(sconced_agenda_step(NULL, 1, 0, &named));
    RANGE(sconced_agenda_step(NULL, SIZE_MAX, 0, &named));
    SconcedChange change = {0, 0};
    POINTER(sconced_agenda_step(&change, 1, 0, NULL));
    POINTER(sconced_agenda_next(&change, 1, 0, NULL));
    POINTER(sconced_agenda_step_without_clock(&change, 1, NULL));
}

static void messages(void)
{
    SconcedShowing showing;
    bool is;
    const char *sound = "{\"rev\":1,\"now_ms\":2,\"channels\":[[1,2,3]]}";
    OK(sconced_showing_read(sound, strlen(sound), &showing));
    POINTER(sconced_showing_read(NULL, 5, &showing));
    POINTER(sconced_showing_read(sound, strlen(sound), NULL));
    RANGE(sconced_showing_read(sound, SIZE_MAX, &showing));
    MESSAGE(sconced_showing_read(NULL, 0, &showing));
    for (size_t length = 0; length < strlen(sound); length++) {
        /* in memory of just this length, so that a look beyond it is seen */
        char *cut = malloc(length == 0 ? 1 : length);
        CHECK(cut != NULL);
        memcpy(cut, sound, length);
        MESSAGE(sconced_showing_read(cut, length, &showing));
        free(cut);
    }
    POINTER(sconced_problem_is_never_given(NULL, 2, &is));
    POINTER(sconced_problem_is_never_given("{}", 2, NULL));
    MESSAGE(sconced_problem_is_never_given("{", 1, &is));
    OK(sconced_problem_is_never_given("{}", 2, &is));
    CHECK(!is);
}

int main(void)
{
    strips();
    looks();
    currents_and_limits();
    players();
    keepers_clocks_and_pauses();
    messages();
    printf("%u checks\n", checks);
    return 0;
}
