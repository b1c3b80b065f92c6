/* Emulated boards without an operating system: start, output and exit by semihosting, and what a C compiler calls. */
#include "board.h"

extern uint32_t image_stack_top[], image_data_from[], image_data[], image_data_end[], image_bss[], image_bss_end[];

extern void (*const image_init[])(void), (*const image_init_end[])(void); /* constructors of C++ */

void *memcpy(void *to, const void *from, size_t count) {
    unsigned char *t = (unsigned char *)to;
    const unsigned char *f = (const unsigned char *)from;
    while (count--) *t++ = *f++;
    return to;
}

void *memset(void *to, int byte, size_t count) {
    volatile unsigned char *t = (volatile unsigned char *)to;
    while (count--) *t++ = (unsigned char)byte;
    return to;
}

static void semihosting(uint32_t operation, const void *argument) {
#if defined(__arm__)
    register uint32_t r0 __asm__("r0") = operation;
    register const void *r1 __asm__("r1") = argument;
    __asm__ volatile("bkpt 0xab" : "+r"(r0) : "r"(r1) : "memory");
#else
    register uint32_t a0 __asm__("a0") = operation;
    register const void *a1 __asm__("a1") = argument;
    __asm__ volatile(".balign 16\n.option push\n.option norvc\nslli x0, x0, 0x1f\nebreak\nsrai x0, x0, 7\n.option pop"
                     : "+r"(a0) : "r"(a1) : "memory");
#endif
}

void board_print(const char *text) { semihosting(4, text); }

static void board_exit(int code) {
    const uint32_t stopped[2] = {0x20026u, (uint32_t)code}; /* ADP_Stopped_ApplicationExit */
    semihosting(0x20, stopped);
    for (;;) {}
}

#define PAINT 0xa5c35a3cu
#define DEPTH (256u * 1024u / 4u)

static uint32_t *painted_to;

__attribute__((noinline)) void board_paint(void) {
    uint32_t here;
    uint32_t *volatile at = &here; /* volatile: the compiler is not to know where it points */
    uint32_t *top = at - 16;
    painted_to = top;
    for (uint32_t i = 1; i < DEPTH; i++) ((volatile uint32_t *)top)[-(int32_t)i] = PAINT;
}

__attribute__((noinline)) uint32_t board_stack(void) {
    uint32_t i = DEPTH - 1;
    while (i > 0 && ((volatile uint32_t *)painted_to)[-(int32_t)i] == PAINT) i--;
    return 4u * i;
}

__attribute__((used, noreturn)) void image_start(void) {
    const uint32_t *from = image_data_from;
    for (uint32_t *to = image_data; to < image_data_end;) *to++ = *from++;
    for (uint32_t *to = image_bss; to < image_bss_end;) *to++ = 0;
#if defined(__ARM_FP)
    *(volatile uint32_t *)0xe000ed88u |= 0xfu << 20; /* CPACR: floating point on */
    __asm__ volatile("dsb\nisb");
#endif
    for (void (*const *construct)(void) = image_init; construct < image_init_end;) (*construct++)();
    board_exit(check());
    for (;;) {}
}

#if defined(__arm__)
__attribute__((noreturn)) static void fault(void) {
    board_print("fault\n");
    board_exit(1);
    for (;;) {}
}

typedef union {
    const void *stack;
    void (*code)(void);
} vector;

__attribute__((section(".vectors"), used)) static const vector vectors[16] = {
    {.stack = image_stack_top}, {.code = image_start}, {.code = fault}, {.code = fault},
    {.code = fault}, {.code = fault}, {.code = fault},
};
#else
__asm__(".section .vectors,\"ax\"\n.globl image_reset\nimage_reset:\nla sp, image_stack_top\nj image_start\n");
#endif
