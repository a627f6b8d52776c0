/* Renders what it is told on its input, line by line, through the C face. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "sconced_device.h"

#define MOST_RUNS 8

static void must(SconcedStatus status, const char *what)
{
    if (status != SCONCED_STATUS_OK) {
        fprintf(stderr, "%s: status %d\n", what, (int)status);
        exit(1);
    }
}

static void *room_for(size_t count, size_t size)
{
    /* no byte more, so that whoever watches sees a byte too many */
    void *room = malloc(count * size == 0 ? 1 : count * size);
    if (room == NULL) {
        exit(2);
    }
    return room;
}

static uint64_t number(void)
{
    uint64_t read;
    if (scanf("%" SCNu64, &read) != 1) {
        fprintf(stderr, "a number is missing\n");
        exit(2);
    }
    return read;
}

static uint32_t runs[MOST_RUNS][2];

static SconcedStrip strip_read(void)
{
    char chip_name[16], order[5];
    SconcedChip chip;
    SconcedStrip strip;
    if (scanf("%15s %4s", chip_name, order) != 2) {
        exit(2);
    }
    must(sconced_chip_of(chip_name, strlen(chip_name), &chip), "chip");
    must(sconced_strip_begin(&strip, chip, (uint32_t)number()), "strip");
    strip.skip = (uint32_t)number();
    strip.global = (uint8_t)number();
    memcpy(strip.order, order, sizeof strip.order);
    for (size_t channel = 0; channel < 4; channel++) {
        strip.balance[channel] = (uint16_t)number();
    }
    strip.run_count = number();
    if (strip.run_count > MOST_RUNS) {
        exit(2);
    }
    for (size_t run = 0; run < strip.run_count; run++) {
        runs[run][0] = (uint32_t)number();
        runs[run][1] = (uint32_t)number();
    }
    strip.runs = strip.run_count == 0 ? NULL : (const uint32_t(*)[2])runs;
    return strip;
}

static SconcedLook look_read(void)
{
    SconcedShowing showing;
    uint16_t floor[4];
    for (size_t channel = 0; channel < 4; channel++) {
        floor[channel] = (uint16_t)number();
    }
    size_t length = number();
    char *message = room_for(length, 1);
    if (getchar() != ' ' || fread(message, 1, length, stdin) != length) {
        exit(2);
    }
    must(sconced_showing_read(message, length, &showing), "showing");
    free(message);
    memcpy(showing.look.floor, floor, sizeof floor);
    return showing.look;
}

static uint8_t *frame_of(const SconcedStrip *strip, const SconcedLook *look, uint64_t unix_ms, size_t *bytes)
{
    size_t written = 0;
    must(sconced_strip_bytes(strip, bytes), "bytes");
    uint8_t *frame = room_for(*bytes, 1);
    must(sconced_frame(strip, look, unix_ms, frame, *bytes, &written), "frame");
    if (written != *bytes) {
        exit(1);
    }
    return frame;
}

/* a player that shows the look without a crossing gives the same bytes */
static void compare_with_a_player(const SconcedStrip *strip, const SconcedLook *look, uint64_t unix_ms,
                                  const uint8_t *frame, size_t bytes)
{
    SconcedPlayer player;
    size_t pixels = 0;
    must(sconced_strip_pixels(strip, &pixels), "pixels");
    uint16_t(*room)[4] = room_for(pixels, sizeof *room);
    uint8_t *other = room_for(bytes, 1);
    must(sconced_player_begin(&player, room, pixels), "player");
    must(sconced_player_set(&player, look, 0, unix_ms, 0), "set");
    must(sconced_player_frame(&player, strip, 0, unix_ms, 1000, other, bytes, NULL), "player's frame");
    if (memcmp(frame, other, bytes) != 0) {
        fprintf(stderr, "a player's frame is another one\n");
        exit(1);
    }
    free(other);
    free(room);
}

static void hex(const uint8_t *bytes, size_t count)
{
    for (size_t at = 0; at < count; at++) {
        printf("%02x", bytes[at]);
    }
    printf("\n");
}

int main(void)
{
    char word[16];
    SconcedPlayer player;
    uint16_t(*room)[4] = NULL;
    size_t pixels = 0;
    while (scanf("%15s", word) == 1) {
        size_t bytes;
        if (strcmp(word, "frame") == 0) {
            SconcedStrip strip = strip_read();
            SconcedLook look = look_read();
            uint64_t unix_ms = number();
            uint8_t *frame = frame_of(&strip, &look, unix_ms, &bytes);
            compare_with_a_player(&strip, &look, unix_ms, frame, bytes);
            hex(frame, bytes);
            free(frame);
        } else if (strcmp(word, "ceiling") == 0) {
            SconcedStrip strip = strip_read();
            SconcedLook look = look_read();
            SconcedCurrents currents;
            SconcedDrawn drawn;
            uint64_t again;
            for (size_t channel = 0; channel < 4; channel++) {
                currents.channels[channel] = (uint16_t)number();
            }
            currents.idle = (uint16_t)number();
            uint8_t *frame = frame_of(&strip, &look, 0, &bytes);
            uint8_t *other = room_for(bytes, 1);
            memcpy(other, frame, bytes);
            uint32_t ceiling = (uint32_t)number();
            must(sconced_limit(&strip, &currents, ceiling, frame, bytes, &drawn), "limit");
            must(sconced_current(&strip, &currents, frame, bytes, &again), "current");
            SconcedLimiter limiter;
            must(sconced_limiter_begin(&limiter), "limiter");
            must(sconced_limiter_limit(&limiter, &strip, &currents, ceiling, 5, other, bytes, NULL), "limiter's limit");
            if (again != drawn.drawn || memcmp(frame, other, bytes) != 0) {
                fprintf(stderr, "a limiter begins otherwise, or the frame draws something else\n");
                return 1;
            }
            printf("%" PRIu64 " %" PRIu64 " %" PRIu32 " ", drawn.wanted, drawn.drawn, drawn.factor);
            hex(frame, bytes);
            free(other);
            free(frame);
        } else if (strcmp(word, "player") == 0) {
            free(room);
            pixels = number();
            room = room_for(pixels, sizeof *room);
            must(sconced_player_begin(&player, room, pixels), "player");
        } else if (strcmp(word, "set") == 0) {
            uint64_t uptime_ms = number(), unix_ms = number();
            uint32_t fade_ms = (uint32_t)number();
            SconcedLook look = look_read();
            must(sconced_player_set(&player, &look, fade_ms, unix_ms, uptime_ms), "set");
        } else if (strcmp(word, "picture") == 0) {
            uint64_t uptime_ms = number(), unix_ms = number();
            uint16_t(*picture)[4] = room_for(pixels, sizeof *picture);
            must(sconced_player_picture(&player, unix_ms, uptime_ms, picture, pixels), "picture");
            for (size_t value = 0; value < pixels * 4; value++) {
                printf(value == 0 ? "%u" : " %u", picture[value / 4][value % 4]);
            }
            printf("\n");
            free(picture);
        } else {
            fprintf(stderr, "%s is no word here\n", word);
            return 2;
        }
    }
    free(room);
    return 0;
}
