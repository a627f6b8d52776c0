/* A controller's rules through the C face: boot, ask, revisions, clock, agenda, pauses. */
#include <string.h>

#include "check.h"
#include "sconced_device.h"

static SconcedTaking heard(SconcedKeeper *keeper, uint64_t rev, uint64_t now_ms, bool retained)
{
    SconcedTaking taking = 77;
    CHECK(sconced_keeper_on_showing(keeper, rev, now_ms, retained, &taking) == SCONCED_STATUS_OK);
    return taking;
}

static bool boot_due(const SconcedKeeper *keeper)
{
    bool due = false;
    CHECK(sconced_keeper_boot_due(keeper, &due) == SCONCED_STATUS_OK);
    return due;
}

static bool ask_due(const SconcedKeeper *keeper, uint64_t uptime_ms)
{
    bool due = false;
    CHECK(sconced_keeper_ask_due(keeper, uptime_ms, &due) == SCONCED_STATUS_OK);
    return due;
}

static bool waits(const SconcedKeeper *keeper)
{
    bool waits = false;
    CHECK(sconced_keeper_is_waiting(keeper, &waits) == SCONCED_STATUS_OK);
    return waits;
}

static uint64_t have(const SconcedKeeper *keeper)
{
    uint64_t rev = 77;
    CHECK(sconced_keeper_have(keeper, &rev) == SCONCED_STATUS_OK);
    return rev;
}

static void simple_firmware(void)
{
    SconcedKeeper keeper;
    uint64_t at = 0;
    CHECK(sconced_keeper_begin(&keeper, SCONCED_FIRMWARE_SHOWING) == SCONCED_STATUS_OK);
    CHECK(boot_due(&keeper) && waits(&keeper) && have(&keeper) == 0);
    CHECK(sconced_keeper_next_ask(&keeper, &at) == SCONCED_STATUS_NOTHING);
    CHECK(sconced_keeper_boot_sent(&keeper, 1000, UINT32_MAX) == SCONCED_STATUS_OK);
    CHECK(!boot_due(&keeper) && !ask_due(&keeper, 1400));
    CHECK(sconced_keeper_next_ask(&keeper, &at) == SCONCED_STATUS_OK);
    CHECK(at > 1500 && at <= 2000 && ask_due(&keeper, at));
    CHECK(sconced_keeper_boot_lost(&keeper) == SCONCED_STATUS_OK && boot_due(&keeper));
    CHECK(sconced_keeper_boot_sent(&keeper, 3000, 0) == SCONCED_STATUS_OK);
    CHECK(sconced_keeper_ask_sent(&keeper, 5000, 0) == SCONCED_STATUS_OK && !ask_due(&keeper, 6999));

    CHECK(heard(&keeper, 42, 10, true) == SCONCED_TAKING_TAKE && have(&keeper) == 42 && !waits(&keeper));
    CHECK(heard(&keeper, 42, 10, true) == SCONCED_TAKING_IGNORE);
    CHECK(heard(&keeper, 42, 11, false) == SCONCED_TAKING_RENEW);
    CHECK(heard(&keeper, 42, 11, false) == SCONCED_TAKING_AGAIN);
    CHECK(heard(&keeper, 41, 12, false) == SCONCED_TAKING_IGNORE && have(&keeper) == 42);

    CHECK(sconced_keeper_reconnected(&keeper, 9000) == SCONCED_STATUS_OK && ask_due(&keeper, 9000));
    CHECK(sconced_keeper_never_given(&keeper, 9500) == SCONCED_STATUS_OK && have(&keeper) == 0);
}

static void other_firmware(void)
{
    SconcedKeeper keeper;
    SconcedTaking taking = 77;
    SconcedPatchTaking patch = 77;
    CHECK(sconced_keeper_begin(&keeper, SCONCED_FIRMWARE_AGENDA) == SCONCED_STATUS_OK);
    CHECK(heard(&keeper, 3, 1, false) == SCONCED_TAKING_IGNORE);
    CHECK(sconced_keeper_on_desired(&keeper, 3, 1, false, &taking) == SCONCED_STATUS_OK);
    CHECK(taking == SCONCED_TAKING_TAKE && have(&keeper) == 3);

    CHECK(sconced_keeper_begin(&keeper, SCONCED_FIRMWARE_PATCH) == SCONCED_STATUS_OK);
    CHECK(sconced_keeper_on_desired(&keeper, 3, 1, false, &taking) == SCONCED_STATUS_OK);
    CHECK(sconced_keeper_on_patch(&keeper, 3, 4, 0, &patch) == SCONCED_STATUS_OK);
    CHECK(patch == SCONCED_PATCH_TAKING_APPLY && have(&keeper) == 4);
    CHECK(sconced_keeper_on_patch(&keeper, 3, 4, 0, &patch) == SCONCED_STATUS_OK);
    CHECK(patch == SCONCED_PATCH_TAKING_IGNORE);
    CHECK(sconced_keeper_on_patch(&keeper, 6, 7, 0, &patch) == SCONCED_STATUS_OK);
    CHECK(patch == SCONCED_PATCH_TAKING_ASK && have(&keeper) == 4);
}

static void clock_and_agenda(void)
{
    SconcedClock clock;
    uint64_t told = 0;
    CHECK(sconced_clock_begin(&clock) == SCONCED_STATUS_OK);
    CHECK(sconced_clock_unix_ms(&clock, 5, &told) == SCONCED_STATUS_NOTHING);
    CHECK(sconced_clock_hear(&clock, 1764060000000, true, 100) == SCONCED_STATUS_OK);
    CHECK(sconced_clock_unix_ms(&clock, 5, &told) == SCONCED_STATUS_NOTHING); /* stored news */
    CHECK(sconced_clock_hear(&clock, 1764060000000, false, 100) == SCONCED_STATUS_OK);
    CHECK(sconced_clock_unix_ms(&clock, 350, &told) == SCONCED_STATUS_OK && told == 1764060000250);
    CHECK(sconced_clock_unix_seconds(&clock, 2100, &told) == SCONCED_STATUS_OK && told == 1764060002);
    CHECK(sconced_clock_uptime_of(&clock, 1764060003, &told) == SCONCED_STATUS_OK && told == 3100);
    CHECK(sconced_clock_set(&clock, 1000, 0) == SCONCED_STATUS_OK);
    CHECK(sconced_clock_unix_ms(&clock, 1, &told) == SCONCED_STATUS_OK && told == 1001);

    SconcedChange changes[SCONCED_AGENDA_CHANGES + 1] = {{100, 7}, {200, 8}, {200, 9}};
    uint32_t look = 0;
    CHECK(sconced_agenda_step(changes, 3, 99, &look) == SCONCED_STATUS_NOTHING);
    CHECK(sconced_agenda_step(changes, 3, 100, &look) == SCONCED_STATUS_OK && look == 7);
    CHECK(sconced_agenda_step(changes, 3, 4000, &look) == SCONCED_STATUS_OK && look == 9);
    CHECK(sconced_agenda_step_without_clock(changes, 3, &look) == SCONCED_STATUS_OK && look == 7);
    CHECK(sconced_agenda_next(changes, 3, 100, &told) == SCONCED_STATUS_OK && told == 200);
    CHECK(sconced_agenda_next(changes, 3, 200, &told) == SCONCED_STATUS_NOTHING);
    CHECK(sconced_agenda_step(NULL, 0, 5, &look) == SCONCED_STATUS_NOTHING);
    CHECK(sconced_agenda_step(changes, SCONCED_AGENDA_CHANGES, 100, &look) == SCONCED_STATUS_OK);
    CHECK(sconced_agenda_step(changes, SCONCED_AGENDA_CHANGES + 1, 100, &look) == SCONCED_STATUS_ERROR_RANGE);
}

static void pauses(void)
{
    SconcedPause pause;
    uint64_t ms = 0;
    CHECK(sconced_pause_begin(&pause, 1000, 3000) == SCONCED_STATUS_OK);
    uint64_t least[] = {500, 1000, 1500, 1500};
    for (size_t at = 0; at < 4; at++) {
        CHECK(sconced_pause_next(&pause, 0, &ms) == SCONCED_STATUS_OK && ms == least[at]);
    }
    CHECK(sconced_pause_reset(&pause) == SCONCED_STATUS_OK);
    CHECK(sconced_pause_next(&pause, UINT32_MAX, &ms) == SCONCED_STATUS_OK && ms > 900 && ms <= 1000);
}

static void crossing(void)
{
    SconcedPlayer player;
    SconcedLook look;
    SconcedStrip strip;
    bool moves = false;
    uint16_t room[4][4];
    uint8_t left[6], right[6];
    CHECK(sconced_look_dark(&look) == SCONCED_STATUS_OK && look.colour_count == 1);
    look.colour_count = 2;
    look.colours[0][0] = 65535;
    look.colours[1][2] = 65535;
    CHECK(sconced_player_begin(&player, room, 4) == SCONCED_STATUS_OK);
    CHECK(sconced_player_set(&player, &look, 2000, 0, 100) == SCONCED_STATUS_OK);
    CHECK(sconced_player_moves(&player, 0, 200, &moves) == SCONCED_STATUS_OK && moves);
    CHECK(sconced_player_moves(&player, 0, 2100, &moves) == SCONCED_STATUS_OK && !moves);
    /* two strips of two pixels that share the picture */
    CHECK(sconced_strip_begin(&strip, SCONCED_CHIP_WS2811, 2) == SCONCED_STATUS_OK);
    CHECK(sconced_player_frame(&player, &strip, 0, 0, 2100, left, sizeof left, NULL) == SCONCED_STATUS_OK);
    CHECK(sconced_player_frame(&player, &strip, 2, 0, 2100, right, sizeof right, NULL) == SCONCED_STATUS_OK);
    CHECK(memcmp(left, ((uint8_t[]){255, 0, 0, 170, 0, 85}), 6) == 0);
    CHECK(memcmp(right, ((uint8_t[]){85, 0, 170, 0, 0, 255}), 6) == 0);
    CHECK(sconced_player_frame(&player, &strip, 3, 0, 2100, right, sizeof right, NULL) == SCONCED_STATUS_ERROR_RANGE);
    CHECK(sconced_player_frame(&player, &strip, SIZE_MAX, 0, 2100, right, sizeof right, NULL)
          == SCONCED_STATUS_ERROR_RANGE);
    bool fits = false;
    CHECK(sconced_dither_fits(&strip, 0, 400, &fits) == SCONCED_STATUS_OK && !fits);
    unsigned sum = 0;
    for (uint32_t frame = 0; frame < 4; frame++) {
        CHECK(sconced_player_frame_dithered(&player, &strip, 0, 0, 2100, frame, left, sizeof left, NULL)
              == SCONCED_STATUS_OK);
        sum += left[3];
    }
    CHECK(sum == 4 * 170);
}

int main(void)
{
    simple_firmware();
    other_firmware();
    clock_and_agenda();
    pauses();
    crossing();
    printf("%u checks\n", checks);
    return 0;
}
