/* A plain C program that uses calseal as an app would, alone and in two threads at once.
 *
 *   use_calseal FIXTURES_BUNDLES
 */
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "calseal/capi/calseal.h"

#define EXPECT(condition)                                             \
  do {                                                                \
    if (!(condition)) {                                               \
      fprintf(stderr, "%s:%d: %s\n", __FILE__, __LINE__, #condition); \
      exit(1);                                                        \
    }                                                                 \
  } while (0)

typedef struct {
  uint8_t* bytes;
  size_t size;
} Blob;

static const char* folder;

static Blob load(const char* name) {
  Blob blob = {NULL, 0};
  char path[4096];
  FILE* file;
  long size;
  EXPECT(snprintf(path, sizeof path, "%s/%s", folder, name) < (int)sizeof path);
  file = fopen(path, "rb");
  EXPECT(file != NULL);
  EXPECT(fseek(file, 0, SEEK_END) == 0);
  size = ftell(file);
  EXPECT(size > 0);
  rewind(file);
  blob.size = (size_t)size;
  blob.bytes = malloc(blob.size);
  EXPECT(blob.bytes != NULL);
  EXPECT(fread(blob.bytes, 1, blob.size, file) == blob.size);
  fclose(file);
  return blob;
}

static void set(calseal_request* request, int what, const char* name) {
  Blob blob = load(name);
  EXPECT(calseal_request_set_file(request, what, name, blob.bytes, blob.size) == CALSEAL_OK);
  free(blob.bytes); /* copied */
}

static void add(calseal_request* request, int what, const char* memory, const char* name) {
  Blob blob = load(name);
  EXPECT(calseal_request_add_read(request, what, memory, name, blob.bytes, blob.size) == CALSEAL_OK);
  free(blob.bytes);
}

/* The caller frees. */
static char* text(const calseal_result* result, int what) {
  size_t size = 0;
  char* buffer;
  EXPECT(calseal_result_text(result, what, NULL, 0, &size) == CALSEAL_OK);
  EXPECT(size >= 1);
  buffer = malloc(size);
  EXPECT(buffer != NULL);
  EXPECT(calseal_result_text(result, what, buffer, size, &size) == CALSEAL_OK);
  EXPECT(strlen(buffer) + 1 == size);
  return buffer;
}

static void expect_text(const calseal_result* result, int what, const char* expected) {
  char* found = text(result, what);
  if (strcmp(found, expected) != 0) fprintf(stderr, "\"%s\" is not \"%s\"\n", found, expected);
  EXPECT(strcmp(found, expected) == 0);
  free(found);
}

static void expect_begins(const calseal_result* result, int what, const char* begin) {
  char* found = text(result, what);
  if (strncmp(found, begin, strlen(begin)) != 0)
    fprintf(stderr, "\"%s\" does not begin with \"%s\"\n", found, begin);
  EXPECT(strncmp(found, begin, strlen(begin)) == 0);
  free(found);
}

static void expect_file(const calseal_result* result, size_t index, const char* memory, const char* name) {
  Blob expected = load(name);
  size_t size = 0;
  char word[16];
  uint8_t* buffer;
  EXPECT(calseal_result_file_name(result, index, CALSEAL_NAME_MEMORY, word, sizeof word, &size) ==
         CALSEAL_OK);
  EXPECT(strcmp(word, memory) == 0);
  EXPECT(calseal_result_file_bytes(result, index, NULL, 0, &size) == CALSEAL_OK);
  EXPECT(size == expected.size);
  buffer = malloc(size);
  EXPECT(buffer != NULL);
  EXPECT(calseal_result_file_bytes(result, index, buffer, size, &size) == CALSEAL_OK);
  EXPECT(memcmp(buffer, expected.bytes, size) == 0);
  free(buffer);
  free(expected.bytes);
}

static calseal_request* tiny_request(const char* bundle) {
  calseal_request* request = NULL;
  EXPECT(calseal_request_new(&request) == CALSEAL_OK);
  EXPECT(request != NULL);
  set(request, CALSEAL_FILE_BUNDLE, bundle);
  set(request, CALSEAL_FILE_TRUST, "shop.trust");
  EXPECT(calseal_request_set_word(request, CALSEAL_WORD_VEHICLE, "blue estate") == CALSEAL_OK);
  EXPECT(calseal_request_declare(request, CALSEAL_DECLARE_READ_IS_FRESH) == CALSEAL_OK);
  return request;
}

static calseal_request* small_request(const char* read_flash, const char* read_eeprom) {
  calseal_request* request = NULL;
  EXPECT(calseal_request_new(&request) == CALSEAL_OK);
  set(request, CALSEAL_FILE_BUNDLE, "small-revision.calseal");
  set(request, CALSEAL_FILE_TRUST, "shop.trust");
  set(request, CALSEAL_FILE_SALT, "job.salt");
  EXPECT(calseal_request_declare(request, CALSEAL_DECLARE_READ_IS_FRESH) == CALSEAL_OK);
  add(request, CALSEAL_READ, "flash", read_flash);
  add(request, CALSEAL_READ, "eeprom", read_eeprom);
  return request;
}

static calseal_result* check(const calseal_request* request, int outcome) {
  calseal_result* result = NULL;
  EXPECT(calseal_check(request, &result) == CALSEAL_OK);
  EXPECT(result != NULL);
  if (calseal_result_outcome(result) != outcome) {
    char* report = text(result, CALSEAL_TEXT_REPORT);
    fprintf(stderr, "%s\n", report);
    free(report);
  }
  EXPECT(calseal_result_outcome(result) == outcome);
  return result;
}

static void checks_and_rebuilds(void) {
  calseal_request* request = small_request("base-flash.bin", "base-eeprom.bin");
  calseal_result* result = check(request, CALSEAL_ACCEPTED);
  size_t count = 0;
  expect_text(result, CALSEAL_TEXT_REASON, "");
  expect_text(result, CALSEAL_TEXT_GRADE, "");
  expect_begins(result, CALSEAL_TEXT_JSON, "{\"calseal\":\"check/1\",\"verdict\":\"accepted\",");
  expect_begins(result, CALSEAL_TEXT_REPORT, "ACCEPTED  engine, revision 1 of job job-7\n");
  EXPECT(calseal_result_file_count(result, &count) == CALSEAL_OK && count == 2);
  expect_file(result, 0, "flash", "edited-flash.bin");
  expect_file(result, 1, "eeprom", "edited-eeprom.bin");
  calseal_result_free(result);
  /* A request can be asked again. */
  result = check(request, CALSEAL_ACCEPTED);
  calseal_result_free(result);
  EXPECT(calseal_request_declare(request, CALSEAL_DECLARE_SEAL_ONLY) == CALSEAL_OK);
  result = check(request, CALSEAL_AUTHENTIC);
  EXPECT(calseal_result_file_count(result, &count) == CALSEAL_OK && count == 0);
  calseal_result_free(result);
  calseal_request_free(request);
}

static void keeps_a_state(void) {
  calseal_request* request = tiny_request("tiny-revision.calseal");
  calseal_result* result;
  uint8_t* state;
  size_t size = 1;
  add(request, CALSEAL_READ, "flash", "tiny.bin");
  result = check(request, CALSEAL_ACCEPTED);
  EXPECT(calseal_result_state(result, CALSEAL_STATE_AFTER_WRITE, NULL, 0, &size) == CALSEAL_OK && size == 0);
  calseal_result_free(result);
  EXPECT(calseal_request_set_file(request, CALSEAL_FILE_STATE, "state", NULL, 0) == CALSEAL_OK);
  result = check(request, CALSEAL_ACCEPTED);
  EXPECT(calseal_result_state(result, CALSEAL_STATE_AFTER_LOOK, NULL, 0, &size) == CALSEAL_OK && size > 0);
  EXPECT(calseal_result_state(result, CALSEAL_STATE_AFTER_WRITE, NULL, 0, &size) == CALSEAL_OK && size > 0);
  state = malloc(size);
  EXPECT(state != NULL);
  EXPECT(calseal_result_state(result, CALSEAL_STATE_AFTER_WRITE, state, size, &size) == CALSEAL_OK);
  calseal_result_free(result);
  EXPECT(calseal_request_set_file(request, CALSEAL_FILE_STATE, "state", state, size) == CALSEAL_OK);
  result = check(request, CALSEAL_ACCEPTED);
  calseal_result_free(result);
  free(state);
  calseal_request_free(request);
}

static void refuses(void) {
  calseal_request* request = tiny_request("signature-bad.calseal");
  calseal_result* result;
  size_t count = 1;
  add(request, CALSEAL_READ, "flash", "tiny.bin");
  result = check(request, CALSEAL_REFUSED);
  expect_text(result, CALSEAL_TEXT_REASON, "signature-bad");
  expect_text(result, CALSEAL_TEXT_FILE, "signature-bad.calseal");
  expect_begins(result, CALSEAL_TEXT_MEANING, "A signature does not verify");
  expect_begins(result, CALSEAL_TEXT_REPORT, "REFUSED");
  EXPECT(calseal_result_file_count(result, &count) == CALSEAL_OK && count == 0);
  EXPECT(calseal_result_file_bytes(result, 0, NULL, 0, &count) == CALSEAL_E_INDEX);
  calseal_result_free(result);
  set(request, CALSEAL_FILE_BUNDLE, "tiny-revision.calseal");
  EXPECT(calseal_request_set_word(request, CALSEAL_WORD_ROOT, "00000") == CALSEAL_OK);
  result = check(request, CALSEAL_REFUSED);
  expect_text(result, CALSEAL_TEXT_REASON, "root-mismatch");
  calseal_result_free(result);
  set(request, CALSEAL_FILE_SALT, "tiny.bin"); /* no salt */
  result = check(request, CALSEAL_REFUSED);
  expect_text(result, CALSEAL_TEXT_REASON, "salt-wrong");
  expect_begins(result, CALSEAL_TEXT_JSON, "{\"calseal\":\"error/1\",\"reason\":\"salt-wrong\",");
  calseal_result_free(result);
  calseal_request_free(request);

  request = small_request("foreign-flash.bin", "base-eeprom.bin");
  result = check(request, CALSEAL_REFUSED);
  expect_text(result, CALSEAL_TEXT_REASON, "read-foreign");
  calseal_result_free(result);
  calseal_request_free(request);
}

static void describes(void) {
  Blob blob = load("signature-bad.calseal");
  calseal_result* result = NULL;
  size_t size;
  EXPECT(calseal_describe("b", blob.bytes, blob.size, &result) == CALSEAL_OK);
  EXPECT(calseal_result_outcome(result) == CALSEAL_DESCRIBED);
  expect_begins(result, CALSEAL_TEXT_JSON, "{\"calseal\":\"show/1\",\"verified\":false,");
  calseal_result_free(result);
  for (size = 1; size < blob.size; size += size < 200 ? 1 : 37) {
    EXPECT(calseal_describe(NULL, blob.bytes, size, &result) == CALSEAL_OK);
    EXPECT(calseal_result_outcome(result) == CALSEAL_REFUSED);
    expect_begins(result, CALSEAL_TEXT_JSON, "{\"calseal\":\"error/1\",\"reason\":\"");
    calseal_result_free(result);
  }
  free(blob.bytes);
}

static calseal_result* confirm(const calseal_request* request, int outcome) {
  calseal_result* result = NULL;
  EXPECT(calseal_confirm(request, &result) == CALSEAL_OK);
  EXPECT(calseal_result_outcome(result) == outcome);
  return result;
}

static void confirms(void) {
  calseal_request* request = small_request("edited-flash.bin", "edited-eeprom.bin");
  calseal_result* result;
  add(request, CALSEAL_READ_BEFORE, "flash", "base-flash.bin");
  add(request, CALSEAL_READ_BEFORE, "eeprom", "base-eeprom.bin");
  result = confirm(request, CALSEAL_CONFIRMED);
  expect_text(result, CALSEAL_TEXT_GRADE, "bytes");
  expect_begins(result, CALSEAL_TEXT_JSON, "{\"calseal\":\"confirm/1\",\"verdict\":\"confirmed\",");
  calseal_result_free(result);
  EXPECT(calseal_request_add_scan(request, "software", "other") == CALSEAL_OK);
  result = confirm(request, CALSEAL_REFUSED);
  expect_text(result, CALSEAL_TEXT_REASON, "scan-mismatch");
  calseal_result_free(result);
  calseal_request_free(request);

  request = small_request("base-flash.bin", "base-eeprom.bin");
  result = confirm(request, CALSEAL_REFUSED);
  expect_text(result, CALSEAL_TEXT_REASON, "confirm-old");
  calseal_result_free(result);
  calseal_request_free(request);

  request = tiny_request("tiny-revision.calseal");
  result = confirm(request, CALSEAL_UNPROVED);
  expect_text(result, CALSEAL_TEXT_GRADE, "none");
  calseal_result_free(result);
  calseal_request_free(request);
}

/* Too small a buffer gets nothing, not even its first byte. */
static void respects_buffers(void) {
  calseal_request* request = tiny_request("signature-bad.calseal");
  calseal_result* result;
  char buffer[64];
  size_t size;
  size_t capacity;
  int what;
  add(request, CALSEAL_READ, "flash", "tiny.bin");
  result = check(request, CALSEAL_REFUSED);
  for (capacity = 0; capacity <= sizeof "signature-bad" + 1; ++capacity) {
    size_t i;
    int status;
    memset(buffer, '#', sizeof buffer);
    status = calseal_result_text(result, CALSEAL_TEXT_REASON, buffer, capacity, &size);
    EXPECT(size == sizeof "signature-bad");
    EXPECT(status == (capacity < size ? CALSEAL_E_TOO_SMALL : CALSEAL_OK));
    for (i = status == CALSEAL_OK ? size : 0; i < sizeof buffer; ++i) EXPECT(buffer[i] == '#');
  }
  for (what = -2; what < 20; ++what) {
    const int known = what >= CALSEAL_TEXT_REASON && what <= CALSEAL_TEXT_GRADE;
    EXPECT(calseal_result_text(result, what, NULL, 0, &size) == (known ? CALSEAL_OK : CALSEAL_E_ARGUMENT));
    EXPECT(calseal_result_text(result, what, NULL, 0, NULL) == CALSEAL_E_ARGUMENT);
    EXPECT(calseal_result_text(result, what, NULL, 1, &size) == CALSEAL_E_ARGUMENT);
  }
  calseal_result_free(result);
  calseal_request_free(request);
  request = tiny_request("tiny-revision.calseal");
  add(request, CALSEAL_READ, NULL, "tiny.bin");
  result = check(request, CALSEAL_ACCEPTED);
  for (capacity = 0; capacity < 64; ++capacity) {
    uint8_t bytes[64] = {0x5a};
    EXPECT(calseal_result_file_bytes(result, 0, bytes, capacity, &size) == CALSEAL_E_TOO_SMALL);
    EXPECT(size == 64 && bytes[0] == 0x5a);
  }
  EXPECT(calseal_result_file_bytes(result, 1, NULL, 0, &size) == CALSEAL_E_INDEX);
  EXPECT(calseal_result_file_bytes(result, (size_t)-1, NULL, 0, &size) == CALSEAL_E_INDEX);
  EXPECT(calseal_result_file_name(result, 0, 3, NULL, 0, &size) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_result_file_name(result, 1, CALSEAL_NAME_SOURCE, NULL, 0, &size) == CALSEAL_E_INDEX);
  EXPECT(calseal_result_state(result, 3, NULL, 0, &size) == CALSEAL_E_ARGUMENT);
  calseal_result_free(result);
  calseal_request_free(request);
}

static void refuses_bad_arguments(void) {
  const uint8_t bytes[4] = {1, 2, 3, 4};
  static char long_text[8192];
  calseal_request* request = NULL;
  calseal_result* result = (calseal_result*)&request;
  size_t size;
  int what;
  int i;
  memset(long_text, 'x', sizeof long_text - 1);
  EXPECT(calseal_request_new(NULL) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_request_new(&request) == CALSEAL_OK);
  EXPECT(calseal_request_set_file(NULL, CALSEAL_FILE_BUNDLE, "x", bytes, 4) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_request_set_file(request, CALSEAL_FILE_BUNDLE, "x", NULL, 4) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_request_set_file(request, CALSEAL_FILE_BUNDLE, "x", bytes, 0) == CALSEAL_E_ARGUMENT);
  for (what = -1; what < 24; ++what) {
    const int known = (what >= CALSEAL_FILE_BUNDLE && what <= CALSEAL_FILE_NEWEST) ||
                      what == CALSEAL_FILE_SUCCESSION || what == CALSEAL_FILE_PARTNER;
    EXPECT(calseal_request_set_file(request, what, NULL, bytes, 4) ==
           (known ? CALSEAL_OK : CALSEAL_E_ARGUMENT));
    /* A size that no such file may have; none of these bytes is looked at. */
    EXPECT(calseal_request_set_file(request, what, NULL, bytes, (size_t)-1) ==
           (known ? CALSEAL_E_TOO_LARGE : CALSEAL_E_ARGUMENT));
    EXPECT(calseal_request_set_file(request, what, long_text, bytes, 4) ==
           (known ? CALSEAL_E_TOO_LARGE : CALSEAL_E_ARGUMENT));
  }
  for (i = 1; i < 16; ++i)
    EXPECT(calseal_request_set_file(request, CALSEAL_FILE_PARTNER, "p", bytes, 4) == CALSEAL_OK);
  EXPECT(calseal_request_set_file(request, CALSEAL_FILE_PARTNER, "p", bytes, 4) == CALSEAL_E_TOO_LARGE);
  EXPECT(calseal_request_add_read(NULL, CALSEAL_READ, "flash", "x", bytes, 4) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_request_add_read(request, 3, "flash", "x", bytes, 4) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_request_add_read(request, CALSEAL_READ, "No Name", "x", bytes, 4) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_request_add_read(request, CALSEAL_READ, "\xff", "x", bytes, 4) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_request_add_read(request, CALSEAL_READ, long_text, "x", bytes, 4) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_request_add_read(request, CALSEAL_READ, "flash", "x", NULL, 0) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_request_add_read(request, CALSEAL_READ, "flash", "x", bytes, (size_t)-1) ==
         CALSEAL_E_TOO_LARGE);
  for (i = 0; i < 64; ++i)
    EXPECT(calseal_request_add_read(request, CALSEAL_READ, "flash", "\xff\n", bytes, 4) == CALSEAL_OK);
  EXPECT(calseal_request_add_read(request, CALSEAL_READ, "flash", "x", bytes, 4) == CALSEAL_E_TOO_LARGE);
  EXPECT(calseal_request_set_word(NULL, CALSEAL_WORD_ROOT, "x") == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_request_set_word(request, CALSEAL_WORD_ROOT, NULL) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_request_set_word(request, 3, "x") == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_request_set_word(request, CALSEAL_WORD_ROOT, long_text) == CALSEAL_E_TOO_LARGE);
  EXPECT(calseal_request_declare(NULL, CALSEAL_DECLARE_REVIVE) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_request_declare(request, 0) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_request_declare(request, 7) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_request_add_scan(NULL, "a", "b") == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_request_add_scan(request, NULL, "b") == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_request_add_scan(request, "a", NULL) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_request_add_scan(request, "a", long_text) == CALSEAL_E_TOO_LARGE);
  for (i = 0; i < 64; ++i) EXPECT(calseal_request_add_scan(request, "a", "b") == CALSEAL_OK);
  EXPECT(calseal_request_add_scan(request, "a", "b") == CALSEAL_E_TOO_LARGE);
  EXPECT(calseal_check(request, NULL) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_confirm(request, NULL) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_check(NULL, &result) == CALSEAL_E_ARGUMENT && result == NULL);
  EXPECT(calseal_confirm(NULL, &result) == CALSEAL_E_ARGUMENT && result == NULL);
  EXPECT(calseal_describe("x", NULL, 4, &result) == CALSEAL_E_ARGUMENT && result == NULL);
  EXPECT(calseal_describe("x", bytes, 0, &result) == CALSEAL_E_ARGUMENT && result == NULL);
  EXPECT(calseal_describe("x", bytes, 4, NULL) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_describe("x", bytes, (size_t)-1, &result) == CALSEAL_E_TOO_LARGE && result == NULL);
  /* Rubbish everywhere is a refusal. */
  result = check(request, CALSEAL_REFUSED);
  calseal_result_free(result);
  calseal_request_free(request);

  EXPECT(calseal_request_new(&request) == CALSEAL_OK);
  EXPECT(calseal_check(request, &result) == CALSEAL_E_MISSING && result == NULL);
  EXPECT(calseal_request_set_file(request, CALSEAL_FILE_BUNDLE, "x", bytes, 4) == CALSEAL_OK);
  EXPECT(calseal_confirm(request, &result) == CALSEAL_E_MISSING && result == NULL);
  calseal_request_free(request);
  calseal_request_free(NULL);
  calseal_result_free(NULL);
  EXPECT(calseal_result_outcome(NULL) == 0);
  EXPECT(calseal_result_text(NULL, CALSEAL_TEXT_JSON, NULL, 0, &size) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_result_file_count(NULL, &size) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_result_file_bytes(NULL, 0, NULL, 0, &size) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_result_file_name(NULL, 0, CALSEAL_NAME_MEMORY, NULL, 0, &size) == CALSEAL_E_ARGUMENT);
  EXPECT(calseal_result_state(NULL, CALSEAL_STATE_AFTER_LOOK, NULL, 0, &size) == CALSEAL_E_ARGUMENT);
  for (i = -1; i < 10; ++i) EXPECT(calseal_status_text(i) != NULL && calseal_status_text(i)[0] != '\0');
}

static void everything(void) {
  EXPECT(calseal_abi() == CALSEAL_ABI);
  EXPECT(strchr(calseal_version(), '.') != NULL);
  checks_and_rebuilds();
  keeps_a_state();
  refuses();
  describes();
  confirms();
  respects_buffers();
  refuses_bad_arguments();
}

static void* thread(void* shared) {
  const calseal_request* request = shared;
  int i;
  everything();
  for (i = 0; i < 20; ++i) {
    calseal_result* result = check(request, CALSEAL_ACCEPTED);
    expect_file(result, 0, "flash", "edited-flash.bin");
    calseal_result_free(result);
  }
  return NULL;
}

int main(int argc, char** argv) {
  pthread_t threads[2];
  calseal_request* shared;
  int i;
  if (argc != 2) {
    fprintf(stderr, "usage: use_calseal FIXTURES_BUNDLES\n");
    return 2;
  }
  folder = argv[1];
  everything();
  shared = small_request("base-flash.bin", "base-eeprom.bin");
  for (i = 0; i < 2; ++i) EXPECT(pthread_create(&threads[i], NULL, thread, shared) == 0);
  for (i = 0; i < 2; ++i) EXPECT(pthread_join(threads[i], NULL) == 0);
  calseal_request_free(shared);
  printf("calseal %s: all as expected\n", calseal_version());
  return 0;
}
