/* Checks that are counted, and end the program where one fails. */
#include <stdio.h>
#include <stdlib.h>

static unsigned checks;

#define CHECK(holds)                                                              \
    do {                                                                          \
        checks++;                                                                 \
        if (!(holds)) {                                                           \
            fprintf(stderr, "%s:%d: not so: %s\n", __FILE__, __LINE__, #holds);   \
            exit(1);                                                              \
        }                                                                         \
    } while (0)
