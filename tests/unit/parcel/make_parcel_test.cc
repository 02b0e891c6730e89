#include "calseal/parcel/make_parcel.h"

#include <gtest/gtest.h>

#include <functional>

#include "calseal/parcel/file_name.h"
#include "calseal/parcel/judge.h"
#include "support/matchers.h"
#include "support/parcel_sample.h"

namespace calseal {
namespace {

CustomerFile customer_of(std::uint8_t value) {
  CustomerFile customer;
  customer.seed.bytes.fill(value);
  customer.number = 4;
  return customer;
}

ParcelRequest sample_request() {
  ParcelRequest request;
  request.claimed_time = "2026-03-04T05:06:07Z";
  request.job = "oak-17";
  request.vehicle_reference = "blue estate";
  request.words = "hello";
  request.reads = {{"engine", "flash", "/home/me/Desktop/flash.bin", Bytes(4096, 0xff)},
                   {"engine", "flash", "C:\\reads\\again.bin", Bytes(4095, 0xff)},
                   {"", "", "unknown", {1, 2, 3}},
                   {"", "", "unknown", {1, 2, 3}}};
  request.logs = {{std::nullopt, "drive.csv", {'t'}}};
  request.tool = "tests";
  return request;
}

TEST(MakeParcel, ReadBackWithItsNumberRaised) {
  const CustomerFile customer = customer_of(7);
  const auto made = make_parcel(sample_request(), customer);
  ASSERT_THAT(made, IsOk());
  EXPECT_EQ(made->customer.number, 5U);
  EXPECT_EQ(made->customer.seed, customer.seed);
  const auto opened = open_parcel(made->file, "p");
  ASSERT_THAT(opened, IsOk());
  const Parcel& parcel = opened->parcel;
  EXPECT_EQ(parcel, made->parcel);
  EXPECT_EQ(parcel.key, TestKey(7).public_key());
  EXPECT_EQ(parcel.number, 5U);
  EXPECT_EQ(parcel.reads, (std::vector<ParcelRead>{{"reads/1.bin", "engine", "flash", 1, "flash.bin"},
                                                   {"reads/2.bin", "engine", "flash", 2, "again.bin"},
                                                   {"reads/3.bin", "", "", 1, "unknown"},
                                                   {"reads/4.bin", "", "", 1, "unknown"}}));
  EXPECT_EQ(parcel.logs, (std::vector<ParcelLog>{{"logs/1.log", std::nullopt, "drive.csv"}}));
  EXPECT_EQ(parcel.findings, (std::vector<ParcelFinding>{{"reads/1.bin", "blank"},
                                                         {"reads/2.bin", "blank"},
                                                         {"reads/2.bin", "cut-off"},
                                                         {"reads/2.bin", "differs"},
                                                         {"reads/3.bin", "cut-off"},
                                                         {"reads/4.bin", "cut-off"}}));
  EXPECT_THAT(opened->content(1), IsOkAnd(Bytes(4095, 0xff)));
  EXPECT_EQ(make_parcel(sample_request(), customer)->file, made->file);
}

TEST(MakeParcel, WhatAParcelCannotHold) {
  const auto fails = [](const std::function<void(ParcelRequest&)>& bend) {
    ParcelRequest request = sample_request();
    bend(request);
    return make_parcel(request, customer_of(7));
  };
  EXPECT_THAT(fails([](ParcelRequest& r) { r.job = "Oak 17"; }), FailsWith(Reason::kUsage, "job"));
  EXPECT_THAT(fails([](ParcelRequest& r) { r.vehicle_reference = "a\nb"; }),
              FailsWith(Reason::kUsage, "vehicle"));
  EXPECT_THAT(fails([](ParcelRequest& r) { r.words = std::string(65537, 'x'); }),
              FailsWith(Reason::kUsage, "words"));
  EXPECT_THAT(fails([](ParcelRequest& r) { r.words = "\xff"; }), FailsWith(Reason::kUsage, "words"));
  EXPECT_THAT(fails([](ParcelRequest& r) { r.reads.resize(65); }), FailsWith(Reason::kUsage, "files"));
  EXPECT_THAT(fails([](ParcelRequest& r) { r.order.options = {"towing"}; }),
              FailsWith(Reason::kUsage, "order"));
  EXPECT_THAT(fails([](ParcelRequest& r) { r.reads.resize(17, {"engine", "flash", "again", {}}); }), IsOk());
  EXPECT_THAT(fails([](ParcelRequest& r) {
                r.reads.assign(17, {"engine", "flash", "again", {}});
              }),
              FailsWith(Reason::kParcelInvalid));
  EXPECT_THAT(fails([](ParcelRequest& r) {
                r.reads.clear();
                r.logs.clear();
                r.words.clear();
              }),
              FailsWith(Reason::kParcelInvalid));
  CustomerFile last = customer_of(7);
  last.number = kParcelNumberLimit;
  EXPECT_THAT(make_parcel(sample_request(), last), FailsWith(Reason::kUsage, "customer file"));
}

TEST(MakeParcel, AnOrderIsJudgedByTheSheet) {
  Sheet sheet;
  sheet.options = {{"towing", "Towing", "", {"engine"}, {}, {}, {"Heavy."}}};
  sheet.digest = compute_sha256(view_of("sheet"));
  ParcelRequest request = sample_request();
  request.sheet = &sheet;
  request.order.options = {"towing"};
  EXPECT_THAT(make_parcel(request, customer_of(7)), FailsWith(Reason::kUsage, "cautions"));
  request.order.accepted = {"Heavy."};
  const auto made = make_parcel(request, customer_of(7));
  ASSERT_THAT(made, IsOk());
  EXPECT_EQ(made->parcel.sheet, sheet.digest);
  EXPECT_EQ(made->parcel.order, request.order.options);
}

TEST(PlainFileName, LastPartWithoutWhatNobodySees) {
  EXPECT_EQ(plain_file_name("/home/me/read.bin"), "read.bin");
  EXPECT_EQ(plain_file_name("C:\\Users\\me\\read.bin"), "read.bin");
  EXPECT_EQ(plain_file_name("read.bin"), "read.bin");
  EXPECT_EQ(plain_file_name("folder/"), "");
  EXPECT_EQ(plain_file_name("a\nb\x7f"
                            "c\xe2\x80\xae"
                            "d\xef\xbb\xbf"),
            "a_b_c_d_");
  EXPECT_EQ(plain_file_name("a\xff\xc3"
                            "b"),
            "a__b");
  EXPECT_EQ(plain_file_name("pr\xc3\xbc"
                            "fstand \xe2\x82\xac.bin"),
            "pr\xc3\xbc"
            "fstand \xe2\x82\xac.bin");
  EXPECT_EQ(plain_file_name(std::string(300, 'x')), std::string(200, 'x'));
  EXPECT_EQ(plain_file_name(std::string(199, 'x') + "\xc3\xbc"), std::string(199, 'x'));
}

TEST(ParcelRoot, IsOneOfTheShopsOrNone) {
  Parcel parcel = sample_parcel().parcel;
  EXPECT_THAT(check_parcel_root(parcel, {TestKey(1).id()}, "p"), IsOk());
  EXPECT_THAT(check_parcel_root(parcel, {TestKey(2).id(), TestKey(1).id()}, "p"), IsOk());
  EXPECT_THAT(check_parcel_root(parcel, {TestKey(2).id()}, "p"), FailsWith(Reason::kParcelOther, "/root"));
  parcel.root.reset();
  EXPECT_THAT(check_parcel_root(parcel, {TestKey(2).id()}, "p"), IsOk());
}

TEST(ParcelSheet, IsComparedByItsDigest) {
  Parcel parcel = sample_parcel().parcel;
  EXPECT_FALSE(is_of_another_sheet(parcel, *parcel.sheet));
  EXPECT_TRUE(is_of_another_sheet(parcel, Sha256()));
  parcel.sheet.reset();
  EXPECT_FALSE(is_of_another_sheet(parcel, Sha256()));
}

TEST(ParcelJob, AndVehicleAreTheJobsOrNone) {
  Parcel parcel = sample_parcel().parcel;
  EXPECT_THAT(check_parcel_job(parcel, "oak-17", "blue estate", "p"), IsOk());
  EXPECT_THAT(check_parcel_job(parcel, "oak-18", "blue estate", "p"),
              FailsWith(Reason::kParcelOther, "/job"));
  EXPECT_THAT(check_parcel_job(parcel, "oak-17", "red estate", "p"),
              FailsWith(Reason::kParcelOther, "/vehicle_reference"));
  parcel.job.clear();
  parcel.vehicle_reference.clear();
  EXPECT_THAT(check_parcel_job(parcel, "oak-18", "red estate", "p"), IsOk());
}

TEST(ParcelSender, IsTheSameUntilHeChangesHisKey) {
  Parcel parcel = sample_parcel().parcel;  // key 7, number 3
  const KeyId mine = TestKey(7).id();
  const KeyId others = TestKey(8).id();
  EXPECT_THAT(check_parcel_sender(parcel, {}, false, "p"), IsOk());
  EXPECT_THAT(check_parcel_sender(parcel, {{mine, 2}}, false, "p"), IsOk());
  EXPECT_THAT(check_parcel_sender(parcel, {{mine, 3}}, false, "p"), FailsWith(Reason::kParcelOld, "/number"));
  EXPECT_THAT(check_parcel_sender(parcel, {{mine, 4}, {mine, 2}}, false, "p"), FailsWith(Reason::kParcelOld));
  EXPECT_THAT(check_parcel_sender(parcel, {{others, 1}}, false, "p"),
              FailsWith(Reason::kParcelOther, "/key"));
  EXPECT_THAT(check_parcel_sender(parcel, {{others, 9}}, true, "p"), IsOk());
  // He changed it away from this key before; a parcel by the old one is refused until somebody says so again.
  EXPECT_THAT(check_parcel_sender(parcel, {{mine, 2}, {others, 1}}, false, "p"),
              FailsWith(Reason::kParcelOther));
  EXPECT_THAT(check_parcel_sender(parcel, {{mine, 2}, {others, 1}}, true, "p"), IsOk());
  EXPECT_THAT(check_parcel_sender(parcel, {{mine, 3}, {others, 1}}, true, "p"),
              FailsWith(Reason::kParcelOld));
}

}  // namespace
}  // namespace calseal
