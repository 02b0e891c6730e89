#include "calseal/sign/statement_sign.h"

#include <gtest/gtest.h>

#include "calseal/trust/spoken_code.h"
#include "calseal/trust/statement.h"
#include "calseal/trust/succession.h"
#include "support/matchers.h"
#include "support/outside_tools.h"

namespace calseal {
namespace {

PrivateKey key_of(std::uint8_t value) { return *PrivateKey::from_seed(Bytes(32, value)); }

TrustFile trust_of(const PrivateKey& root) {
  TrustFile trust;
  trust.shop = "Shop";
  trust.root = root.public_key();
  trust.claimed_time = "2026-01-02T03:04:05Z";
  TrustedKey key;
  const PrivateKey author = key_of(2);
  key.id = author.id();
  key.public_key = author.public_key();
  key.name = "Author";
  key.roles = {Role::kAuthor};
  key.valid_from = trust.claimed_time;
  trust.keys = {key};
  return trust;
}

TEST(TrustFileSealing, GivesWhatReadersAccept) {
  const PrivateKey root = key_of(1);
  const auto file = seal_trust_file(trust_of(root), root);
  ASSERT_THAT(file, IsOk());
  EXPECT_THAT(parse_trust_file(view_of(*file), spoken_code(Spoken::kKey, root.id()), "t"),
              IsOkAnd(trust_of(root)));
  EXPECT_EQ(*file, *seal_trust_file(trust_of(root), root));
}

TEST(TrustFileSealing, RefusesWhatReadersWouldRefuse) {
  const PrivateKey root = key_of(1);
  EXPECT_THAT(seal_trust_file(trust_of(root), key_of(2)), FailsWith(Reason::kTrustInvalid, "root"));
  TrustFile no_role = trust_of(root);
  no_role.keys[0].roles.clear();
  EXPECT_THAT(seal_trust_file(no_role, root), FailsWith(Reason::kTrustInvalid, "/keys/0/roles"));
}

TEST(StatementSigning, EachKeyOnce) {
  const PrivateKey one = key_of(1);
  const PrivateKey two = key_of(2);
  const auto file = sign_statement("{\"x\":1}", {one, two});
  ASSERT_THAT(file, IsOk());
  const auto statement = read_statement(view_of(*file), "{\"x\"", 4096, Reason::kTrustInvalid, "s");
  ASSERT_THAT(statement, IsOk());
  ASSERT_EQ(statement->signatures.size(), 2U);
  for (const PrefixSignature& signature : statement->signatures) {
    const PublicKey& key = signature.key_id == one.id() ? one.public_key() : two.public_key();
    EXPECT_TRUE(verify_signature(key, view_of("{\"x\":1}"), signature.signature));
  }
  EXPECT_THAT(sign_statement("{}", {}), FailsWith(Reason::kUsage));
  EXPECT_THAT(sign_statement("{}", {one, one}), FailsWith(Reason::kUsage));
  EXPECT_THAT(sign_statement("{}", SigningKeys(9, one)), FailsWith(Reason::kUsage));
  EXPECT_THAT(sign_statement("{}\n", {one}), FailsWith(Reason::kInternal));
}

TEST(SuccessionSealing, GivesWhatReadersAccept) {
  const PrivateKey root = key_of(1);
  const PrivateKey next = key_of(7);
  TrustFile trust = trust_of(root);
  trust.next_root = next.id();
  const auto old_text = seal_trust_file(trust, root);
  ASSERT_THAT(old_text, IsOk());
  const auto file = seal_succession(*old_text, "2026-05-06T07:08:09Z", "moved", root, next);
  ASSERT_THAT(file, IsOk());
  const auto parsed = parse_succession(view_of(*file), "s");
  ASSERT_THAT(parsed, IsOk());
  EXPECT_EQ(parsed->old_trust_text, *old_text);
  EXPECT_EQ(parsed->new_root, next.public_key());
  EXPECT_EQ(parsed->reason, "moved");
}

TEST(SuccessionSealing, RefusesWhatReadersWouldRefuse) {
  const PrivateKey root = key_of(1);
  const PrivateKey next = key_of(7);
  TrustFile trust = trust_of(root);
  const auto silent = seal_trust_file(trust, root);
  EXPECT_THAT(seal_succession(*silent, "2026-05-06T07:08:09Z", "", root, next),
              FailsWith(Reason::kSuccessionInvalid, "/new_root"));
  trust.next_root = next.id();
  const auto text = seal_trust_file(trust, root);
  EXPECT_THAT(seal_succession(*text, "2026-05-06T07:08:09Z", "", root, key_of(8)),
              FailsWith(Reason::kSuccessionInvalid, "/new_root"));
  EXPECT_THAT(seal_succession(*text, "2026-05-06T07:08:09Z", "", key_of(8), next),
              FailsWith(Reason::kSuccessionInvalid, "signatures"));
  EXPECT_THAT(seal_succession(*text, "2026-05-06T07:08:09Z", "", root, root), FailsWith(Reason::kUsage));
  EXPECT_THAT(seal_succession(*text, "soon", "", root, next), FailsWith(Reason::kSuccessionInvalid));
}

// What a stranger does with general programs alone.
TEST(StatementSigning, OtherProgramsVerifyIt) {
  const ScratchFolder folder;
  const PrivateKey root = key_of(1);
  const auto file = seal_trust_file(trust_of(root), root);
  ASSERT_THAT(file, IsOk());
  folder.put("trust", view_of(*file));
  folder.put("root.pem", view_of(public_key_pem(root.public_key())));
  const auto in = [&](const std::string& name) { return folder.path(name); };
  ASSERT_EQ(run_tool("sh -c 'head -n 1 " + in("trust") + " | tr -d \"\\n\" > " + in("signed") +
                     "; sed -n 2p " + in("trust") + " | cut -d \" \" -f 2 | xxd -r -p > " + in("sig") + "'"),
            0);
  EXPECT_EQ(run_tool("openssl pkeyutl -verify -rawin -pubin -inkey " + in("root.pem") + " -in " +
                     in("signed") + " -sigfile " + in("sig")),
            0);
}

}  // namespace
}  // namespace calseal
