#include "calseal/ledger/token.h"

#include <openssl/err.h>
#include <openssl/pem.h>
#include <openssl/rand.h>
#include <openssl/ts.h>

#include <ctime>
#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/free_with.h"
#include "calseal/base/text.h"
#include "calseal/base/utc_time.h"
#include "calseal/digest/sha256.h"
#include "calseal/ledger/kept_heads.h"
#include "calseal/ledger/layout.h"
#include "calseal/trust/tree_head.h"

namespace calseal {
namespace {

using Request = std::unique_ptr<TS_REQ, FreeWith<TS_REQ_free>>;
using Response = std::unique_ptr<TS_RESP, FreeWith<TS_RESP_free>>;
using Imprint = std::unique_ptr<TS_MSG_IMPRINT, FreeWith<TS_MSG_IMPRINT_free>>;
using HashAlgorithm = std::unique_ptr<X509_ALGOR, FreeWith<X509_ALGOR_free>>;
using Asn1Integer = std::unique_ptr<ASN1_INTEGER, FreeWith<ASN1_INTEGER_free>>;
using Number = std::unique_ptr<BIGNUM, FreeWith<BN_free>>;
using Pkcs7 = std::unique_ptr<PKCS7, FreeWith<PKCS7_free>>;
using Info = std::unique_ptr<TS_TST_INFO, FreeWith<TS_TST_INFO_free>>;
using Store = std::unique_ptr<X509_STORE, FreeWith<X509_STORE_free>>;
using Certificate = std::unique_ptr<X509, FreeWith<X509_free>>;
using MemoryBio = std::unique_ptr<BIO, FreeWith<BIO_free_all>>;
using Context = std::unique_ptr<TS_VERIFY_CTX, FreeWith<TS_VERIFY_CTX_free>>;

tl::unexpected<Error> invalid(const std::string& name, std::string found, std::string expected) {
  return fail(
      {Reason::kTokenInvalid, name, "", std::move(found), std::move(expected),
       "ask the authority for a token over this very file, or give the certificate that it chains to"});
}

tl::unexpected<Error> no_library(const char* step) {
  return fail({Reason::kInternal, "", step, "libcrypto refuses", "a request or a context", "try again"});
}

// What libcrypto says last, and nothing of it is left behind.
std::string library_words() {
  const char* words = ERR_reason_error_string(ERR_peek_last_error());
  std::string text = words == nullptr ? "no reason given" : words;
  ERR_clear_error();
  return text;
}

// The token in a response, or the token alone.
Result<Pkcs7> parse_token(const NamedBytes& file) {
  if (file.bytes.size() > kTokenSizeLimit) {
    return fail({Reason::kFileTooLarge, file.name, "", grouped(file.bytes.size()) + " bytes",
                 "at most " + grouped(kTokenSizeLimit) + " bytes", "check that this is the right file"});
  }
  const auto size = static_cast<long>(file.bytes.size());
  const std::uint8_t* at = file.bytes.data();
  const Response response(d2i_TS_RESP(nullptr, &at, size));
  if (response && at == file.bytes.data() + size) {
    const ASN1_INTEGER* const status = TS_STATUS_INFO_get0_status(TS_RESP_get_status_info(response.get()));
    const long granted = ASN1_INTEGER_get(status);
    PKCS7* const token = TS_RESP_get_token(response.get());
    if ((granted != TS_STATUS_GRANTED && granted != TS_STATUS_GRANTED_WITH_MODS) || token == nullptr)
      return invalid(file.name, "a response that grants nothing, status " + std::to_string(granted),
                     "a token");
    Pkcs7 copy(PKCS7_dup(token));
    if (!copy) return no_library("token");
    return copy;
  }
  ERR_clear_error();
  at = file.bytes.data();
  Pkcs7 token(d2i_PKCS7(nullptr, &at, size));
  if (!token || at != file.bytes.data() + size) {
    ERR_clear_error();
    return invalid(file.name, "neither a response nor a token", "DER after RFC 3161");
  }
  return token;
}

Result<Store> load_authorities(const std::vector<NamedBytes>& authorities) {
  Store store(X509_STORE_new());
  if (!store) return no_library("certificates");
  for (const NamedBytes& file : authorities) {
    const MemoryBio bio(BIO_new_mem_buf(file.bytes.data(), static_cast<int>(file.bytes.size())));
    int count = 0;
    for (; bio; ++count) {
      const Certificate certificate(PEM_read_bio_X509(bio.get(), nullptr, nullptr, nullptr));
      if (!certificate || X509_STORE_add_cert(store.get(), certificate.get()) != 1) break;
    }
    ERR_clear_error();
    if (count == 0) {
      return fail({Reason::kKeyFileInvalid, file.name, "", "no certificate", "certificates in PEM (RFC 7468)",
                   "check that this is the authority's certificate file"});
    }
  }
  return store;
}

// Whole seconds of the token's GeneralizedTime.
std::optional<UtcTime> time_of(const TS_TST_INFO* info) {
  std::tm parts{};
  if (ASN1_TIME_to_tm(TS_TST_INFO_get_time(info), &parts) != 1) return std::nullopt;
  return UtcTime{static_cast<std::int64_t>(::timegm(&parts))};
}

}  // namespace

Result<Bytes> make_token_request(ByteView head_file) {
  Sha256 digest = compute_sha256(head_file);
  std::array<std::uint8_t, 16> random{};
  const Request request(TS_REQ_new());
  const Imprint imprint(TS_MSG_IMPRINT_new());
  const HashAlgorithm algorithm(X509_ALGOR_new());
  if (RAND_bytes(random.data(), static_cast<int>(random.size())) != 1) return no_library("nonce");
  random[0] &= 0x7f;
  random[0] |= 0x40;  // the same length each time
  const Number number(BN_bin2bn(random.data(), static_cast<int>(random.size()), nullptr));
  const Asn1Integer nonce(number ? BN_to_ASN1_INTEGER(number.get(), nullptr) : nullptr);
  if (!request || !imprint || !algorithm || !nonce ||
      X509_ALGOR_set0(algorithm.get(), OBJ_nid2obj(NID_sha256), V_ASN1_NULL, nullptr) != 1 ||
      TS_MSG_IMPRINT_set_algo(imprint.get(), algorithm.get()) != 1 ||
      TS_MSG_IMPRINT_set_msg(imprint.get(), digest.bytes.data(), static_cast<int>(digest.bytes.size())) !=
          1 ||
      TS_REQ_set_version(request.get(), 1) != 1 ||
      TS_REQ_set_msg_imprint(request.get(), imprint.get()) != 1 ||
      TS_REQ_set_nonce(request.get(), nonce.get()) != 1 || TS_REQ_set_cert_req(request.get(), 1) != 1)
    return no_library("request");
  const int size = i2d_TS_REQ(request.get(), nullptr);
  if (size <= 0) return no_library("request");
  Bytes der(static_cast<std::size_t>(size));
  std::uint8_t* at = der.data();
  i2d_TS_REQ(request.get(), &at);
  return der;
}

Result<std::string> verify_token(const NamedBytes& token, ByteView head_file,
                                 const std::vector<NamedBytes>& authorities) {
  CALSEAL_ASSIGN(const Pkcs7 parsed, parse_token(token));
  CALSEAL_ASSIGN(Store store, load_authorities(authorities));
  const Info info(PKCS7_to_TS_TST_INFO(parsed.get()));
  const auto time = info ? time_of(info.get()) : std::nullopt;
  ERR_clear_error();
  if (!time) return invalid(token.name, "no time in it", "a time-stamp token after RFC 3161");
  TS_MSG_IMPRINT* const imprint = TS_TST_INFO_get_msg_imprint(info.get());
  const ASN1_OBJECT* algorithm = nullptr;
  X509_ALGOR_get0(&algorithm, nullptr, nullptr, TS_MSG_IMPRINT_get_algo(imprint));
  if (OBJ_obj2nid(algorithm) != NID_sha256)
    return invalid(token.name, "another digest than SHA-256", "SHA-256 of the head's file");
  // A certificate that has ended since was good when it signed.
  X509_VERIFY_PARAM_set_time(X509_STORE_get0_param(store.get()), static_cast<std::time_t>(time->seconds));
  const Context context(TS_VERIFY_CTX_new());
  const Sha256 digest = compute_sha256(head_file);
  auto* const copy = static_cast<unsigned char*>(OPENSSL_memdup(digest.bytes.data(), digest.bytes.size()));
  if (!context || copy == nullptr) return no_library("context");
  TS_VERIFY_CTX_set_flags(context.get(), TS_VFY_VERSION | TS_VFY_IMPRINT | TS_VFY_SIGNATURE);
  TS_VERIFY_CTX_set_imprint(context.get(), copy, static_cast<long>(digest.bytes.size()));
  TS_VERIFY_CTX_set_store(context.get(), store.release());
  if (TS_RESP_verify_token(context.get(), parsed.get()) != 1)
    return invalid(token.name, library_words(), "a token over this head by an authority that is believed");
  return time_text(*time);
}

Result<std::string> attach_token(const std::string& folder, std::uint64_t size, const NamedBytes& token,
                                 const std::vector<NamedBytes>& authorities) {
  auto head = read_kept(folder + "/" + head_file(size), kTreeHeadSizeLimit);
  if (!head) {
    Error error = head.error();
    if (error.reason == Reason::kFileMissing) error.reason = Reason::kNotInLedger;
    return fail(std::move(error));
  }
  CALSEAL_ASSIGN(const std::string time, verify_token(token, head->bytes, authorities));
  CALSEAL_CHECK(write_file(folder + "/" + token_file(size), token.bytes));
  return time;
}

}  // namespace calseal
