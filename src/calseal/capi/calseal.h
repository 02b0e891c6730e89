/* calseal for apps: check a bundle and rebuild its image, describe it, confirm what was written. C99.
 *
 * The verdicts are those of the programs, from the same code: nothing here can be switched off, evidence can
 * only be added. Nothing is read from or written to files, and no controller is touched; the clock is read
 * once in calseal_check().
 *
 * Every function may be called from any thread. A request or result is used by one thread at a time, except
 * that functions that take it as const may share it. There are no globals. Nothing throws and no argument
 * crashes: NULL where something is needed is CALSEAL_E_ARGUMENT. Memory stays the caller's: what is set is
 * copied, what is asked for is copied into buffers of the caller.
 *
 * docs/c-api.md tells more and shows an example.
 */
#ifndef CALSEAL_CAPI_CALSEAL_H_
#define CALSEAL_CAPI_CALSEAL_H_

#include <stddef.h>
#include <stdint.h>

#ifdef __GNUC__
#pragma GCC visibility push(default)
#endif
#ifdef __cplusplus
extern "C" {
#endif

/* The binary interface that this header describes; see calseal_abi(). */
#define CALSEAL_ABI 0

/* What a call did, not what a bundle is worth: a refusal is a result, and the call that gave it is
 * CALSEAL_OK. */
enum {
  CALSEAL_OK = 0,
  CALSEAL_E_ARGUMENT = 1,  /* NULL, an unknown number, an empty file, a name that is no name */
  CALSEAL_E_MISSING = 2,   /* the request has no bundle, or no trust file */
  CALSEAL_E_TOO_LARGE = 3, /* larger or more than anything of this kind may be */
  CALSEAL_E_TOO_SMALL = 4, /* the buffer is too small; the size needed was stored, nothing else */
  CALSEAL_E_INDEX = 5,     /* no file of that index */
  CALSEAL_E_MEMORY = 6,    /* out of memory */
  CALSEAL_E_INTERNAL = 7   /* a fault of calseal itself */
};

/* The version of the library, "0.1.0"; lives as long as the library is loaded. */
const char* calseal_version(void);

/* CALSEAL_ABI of the library that is loaded. Compare it with CALSEAL_ABI of this header. */
int calseal_abi(void);

/* A short English text for a status; never NULL; lives as long as the library is loaded. */
const char* calseal_status_text(int status);

/* ---- Request: a bundle and all the evidence that a person has ---- */

typedef struct calseal_request calseal_request;

int calseal_request_new(calseal_request** request);
void calseal_request_free(calseal_request* request); /* NULL is fine */

/* Files. The first group replaces what was set before, the second one adds. */
enum {
  CALSEAL_FILE_BUNDLE = 1,      /* needed */
  CALSEAL_FILE_TRUST = 2,       /* needed: the shop's trust file */
  CALSEAL_FILE_SALT = 3,        /* the job's salt file, as text */
  CALSEAL_FILE_STATE = 4,       /* what was accepted before; may be empty (size 0): a new one */
  CALSEAL_FILE_WITHDRAWALS = 5, /* the shop's newest list of withdrawals */
  CALSEAL_FILE_JOB_LIST = 6,    /* the shop's newest list of this job's revisions */
  CALSEAL_FILE_INCLUSION = 7,   /* proof from the shop's ledger */
  CALSEAL_FILE_NEWEST = 8,      /* the newest accepted bundle, for a return without state */
  CALSEAL_FILE_SUCCESSION = 16, /* how the root was replaced; oldest first; at most 16 */
  CALSEAL_FILE_PARTNER = 17     /* another bundle of the set; at most 16 */
};

/* `name` is for messages only, UTF-8, and may be NULL. `bytes` may be NULL when `size` is 0. */
int calseal_request_set_file(calseal_request* request, int what, const char* name, const uint8_t* bytes,
                             size_t size);

/* Files of a controller's read; each adds one. `memory` names the memory, or is NULL or "" for a file that
 * tells by itself (records, a declared form, the only memory). */
enum {
  CALSEAL_READ = 1,       /* check: the controller's own read; confirm: what was read back */
  CALSEAL_READ_BEFORE = 2 /* confirm only: the read from before the write */
};
int calseal_request_add_read(calseal_request* request, int what, const char* memory, const char* name,
                             const uint8_t* bytes, size_t size);

/* Words, each at most 1,024 bytes; they replace what was set before. */
enum {
  CALSEAL_WORD_ROOT = 1,   /* fingerprint of the shop's root, as the shop read it out */
  CALSEAL_WORD_VEHICLE = 2 /* the vehicle reference */
};
int calseal_request_set_word(calseal_request* request, int what, const char* text);

/* What the person declares; cannot be taken back in a request. */
enum {
  CALSEAL_DECLARE_READ_IS_FRESH = 1, /* nothing was driven or learned since the read */
  CALSEAL_DECLARE_REVIVE = 2,        /* write revision 0 whole, without a read */
  CALSEAL_DECLARE_RETURN = 3,        /* go back to this earlier revision */
  CALSEAL_DECLARE_SEAL_ONLY = 4,     /* look at the seal alone: `authentic`, never `accepted` */
  CALSEAL_DECLARE_OLD_BASE = 5,      /* the controller has the base of this revision 0 */
  CALSEAL_DECLARE_CLOCK = 6          /* this machine's clock is right, whatever the state has seen */
};
int calseal_request_declare(calseal_request* request, int what);

/* confirm only: a value that a scan tool reports, under the name of an identity field. At most 64. */
int calseal_request_add_scan(calseal_request* request, const char* name, const char* value);

/* ---- The three questions ---- */

typedef struct calseal_result calseal_result;

/* May this bundle be written to this controller? Rebuilds the image when it may. */
int calseal_check(const calseal_request* request, calseal_result** result);

/* Does the controller hold what the bundle says, after the write? */
int calseal_confirm(const calseal_request* request, calseal_result** result);

/* What does a bundle claim? No signature is looked at, so nothing may be decided by it. `name` as above. */
int calseal_describe(const char* name, const uint8_t* bundle, size_t size, calseal_result** result);

/* ---- Result ---- */

enum {
  CALSEAL_ACCEPTED = 1,  /* check: everything holds; the rebuilt files may be written */
  CALSEAL_REFUSED = 2,   /* any: the reason says why */
  CALSEAL_AUTHENTIC = 3, /* check: only the seal was looked at, and it holds */
  CALSEAL_CONFIRMED = 4, /* confirm: with a grade of proof */
  CALSEAL_UNPROVED = 5,  /* confirm: nothing was given that can be compared */
  CALSEAL_DESCRIBED = 6  /* describe: it reads well */
};
/* 0 when `result` is NULL. */
int calseal_result_outcome(const calseal_result* result);

enum {
  CALSEAL_TEXT_REASON = 1,   /* stable code; "" unless refused, as the next six */
  CALSEAL_TEXT_MEANING = 2,  /* what the code means */
  CALSEAL_TEXT_FILE = 3,     /* in which file */
  CALSEAL_TEXT_PLACE = 4,    /* where in it */
  CALSEAL_TEXT_FOUND = 5,    /* what is there */
  CALSEAL_TEXT_EXPECTED = 6, /* what should be there */
  CALSEAL_TEXT_NEXT = 7,     /* what to do now */
  CALSEAL_TEXT_REPORT = 8,   /* the whole verdict for people, as the program prints it */
  CALSEAL_TEXT_JSON = 9,     /* the same for programs: check/1, confirm/1, show/1 or error/1 */
  CALSEAL_TEXT_GRADE = 10    /* confirm: "bytes", "verification-number", "identity" or "none"; else "" */
};

/* Everything that is copied out works alike. `*size` gets the number of bytes needed, for texts with the
 * NUL that ends them. With `buffer` NULL and `capacity` 0 that is all. Else the whole is copied, or, when
 * `capacity` is too small, nothing: CALSEAL_E_TOO_SMALL. Texts are UTF-8. */
int calseal_result_text(const calseal_result* result, int what, char* buffer, size_t capacity, size_t* size);

/* Rebuilt files: as many as the read had, in its order; none unless accepted. */
int calseal_result_file_count(const calseal_result* result, size_t* count);
enum {
  CALSEAL_NAME_MEMORY = 1, /* which memory it is for; "" when it spans several */
  CALSEAL_NAME_SOURCE = 2  /* name of the read's file whose form it has; "" when revived */
};
int calseal_result_file_name(const calseal_result* result, size_t index, int what, char* buffer,
                             size_t capacity, size_t* size);
int calseal_result_file_bytes(const calseal_result* result, size_t index, uint8_t* buffer, size_t capacity,
                              size_t* size);

/* The state to keep, where one was given: size 0 when there is none to keep. */
enum {
  CALSEAL_STATE_AFTER_LOOK = 1, /* now, whatever the outcome is */
  CALSEAL_STATE_AFTER_WRITE = 2 /* once the rebuilt files are stored for good */
};
int calseal_result_state(const calseal_result* result, int when, uint8_t* buffer, size_t capacity,
                         size_t* size);

void calseal_result_free(calseal_result* result); /* NULL is fine */

#ifdef __cplusplus
} /* extern "C" */
#endif
#ifdef __GNUC__
#pragma GCC visibility pop
#endif

#endif /* CALSEAL_CAPI_CALSEAL_H_ */
