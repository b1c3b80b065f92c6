/* The header against the numbers that Rust is held against too; C99 and C++. */
#include "glidepath.h"

#ifdef __cplusplus
#define CHECK(what) static_assert(what, #what);
#elif defined(__STDC_VERSION__) && __STDC_VERSION__ >= 201112L
#define CHECK(what) _Static_assert(what, #what);
#else
#define CHECK_(what, line) typedef char check_##line[(what) ? 1 : -1];
#define CHECK__(what, line) CHECK_(what, line)
#define CHECK(what) CHECK__(what, __COUNTER__)
#endif
#define SIZE(type, bytes) CHECK(sizeof(type) == (bytes))
#define AT(type, field, bytes) CHECK(offsetof(type, field) == (bytes))
#define NUMBER(name, number) CHECK((name) == (number))
#define OPAQUE(type, narrow, wide) CHECK(sizeof(type) == (sizeof(void *) == 8 ? (wide) : (narrow)))

#include "../layout.def"

extern int nothing_else;
