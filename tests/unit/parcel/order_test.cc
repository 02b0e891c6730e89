#include "calseal/parcel/order.h"

#include <gtest/gtest.h>

#include <functional>

#include "support/matchers.h"

namespace calseal {
namespace {

Sheet sample_sheet() {
  Sheet sheet;
  sheet.options = {{"cold-start", "Cold start", "", {"engine"}, {}, {}, {}},
                   {"high-octane",
                    "High octane",
                    "",
                    {"engine"},
                    {{}, {"ron-98"}, {}},
                    {{"towing"}, {}, {}},
                    {"Only this fuel."}},
                   {"shift-light",
                    "Shift light",
                    "",
                    {"engine"},
                    {{"cold-start"}, {}, {"lamp"}},
                    {},
                    {"Draws current.", "By your own risk."}},
                   {"towing", "Towing", "", {"engine"}, {}, {{}, {"e85"}, {"small-cooler"}}, {}}};
  sheet.asked.questions = {
      {"fuel",
       "Which fuel?",
       QuestionKind::kChoice,
       QuestionStates::kFuel,
       true,
       {{"ron-95", "95"}, {"ron-98", "98"}, {"e85", "E85"}}},
      {"built-in",
       "What is built in?",
       QuestionKind::kChoice,
       QuestionStates::kHardware,
       false,
       {{"lamp", "A lamp"}, {"small-cooler", "The small cooler"}}},
      {"mass", "Its mass?", QuestionKind::kNumber, QuestionStates::kNothing, false, {}},
      {"remarks", "Anything else?", QuestionKind::kText, QuestionStates::kNothing, false, {}}};
  sheet.asked.cautions = {"By your own risk."};
  return sheet;
}

Order sample_order() { return {{"towing"}, {{"fuel", "ron-95"}, {"mass", "1450"}}, {"By your own risk."}}; }

TEST(Order, AsItMayBe) {
  EXPECT_THAT(judge_order(sample_sheet(), sample_order(), true), IsOk());
  Order nothing{{}, {{"fuel", "e85"}}, {"By your own risk."}};
  EXPECT_THAT(judge_order(sample_sheet(), nothing, true), IsOk());
  Order light{{"cold-start", "shift-light"},
              {{"fuel", "e85"}, {"built-in", "lamp"}},
              {"By your own risk.", "Draws current."}};
  EXPECT_THAT(judge_order(sample_sheet(), light, true), IsOk());
}

TEST(Order, WithoutAReadAndAnOrderNothingIsAsked) {
  EXPECT_THAT(judge_order(sample_sheet(), {}, false), IsOk());
  EXPECT_THAT(judge_order(sample_sheet(), {}, true), FailsWith(Reason::kUsage, "fuel"));
  EXPECT_THAT(judge_order(sample_sheet(), {{"towing"}, {}, {}}, false), FailsWith(Reason::kUsage, "fuel"));
  const Order half{{}, {}, {"Another caution."}};
  EXPECT_THAT(judge_order(sample_sheet(), half, false), FailsWith(Reason::kUsage, "cautions"));
  const Order odd{{}, {{"fuel", "diesel"}}, {}};
  EXPECT_THAT(judge_order(sample_sheet(), odd, false), FailsWith(Reason::kUsage, "fuel"));
}

TEST(Order, CautionsAreTheSheetsThenThoseOfOptionsEachOnce) {
  EXPECT_EQ(cautions_of(sample_sheet(), {"high-octane", "shift-light"}),
            (std::vector<std::string>{"By your own risk.", "Only this fuel.", "Draws current."}));
  EXPECT_EQ(cautions_of(sample_sheet(), {}), (std::vector<std::string>{"By your own risk."}));
  EXPECT_EQ(cautions_of(sample_sheet(), {"unheard-of"}), (std::vector<std::string>{"By your own risk."}));
}

TEST(Order, IsPutInOrder) {
  const auto order = put_in_order(sample_sheet(), {"towing", "cold-start"}, {{"mass", "1"}, {"fuel", "e85"}});
  ASSERT_THAT(order, IsOk());
  EXPECT_EQ(order->options, (std::vector<std::string>{"cold-start", "towing"}));
  EXPECT_EQ(order->answers, (std::vector<ParcelAnswer>{{"fuel", "e85"}, {"mass", "1"}}));
  EXPECT_THAT(put_in_order(sample_sheet(), {"towing", "towing"}, {}), FailsWith(Reason::kUsage, "order"));
  EXPECT_THAT(put_in_order(sample_sheet(), {}, {{"fuel", "e85"}, {"fuel", "e85"}}),
              FailsWith(Reason::kUsage, "fuel"));
  EXPECT_THAT(put_in_order(sample_sheet(), {}, {{"colour", "red"}}), FailsWith(Reason::kUsage, "colour"));
}

struct BentOrder {
  const char* name;
  Reason reason;
  const char* place;
  std::function<void(Order&)> bend;
};
class OrderFault : public ::testing::TestWithParam<BentOrder> {};
TEST_P(OrderFault, IsNamed) {
  Order order = sample_order();
  GetParam().bend(order);
  if (order.accepted == sample_order().accepted) order.accepted = cautions_of(sample_sheet(), order.options);
  EXPECT_THAT(judge_order(sample_sheet(), order, true), FailsWith(GetParam().reason, GetParam().place));
}
const BentOrder kBentOrders[] = {
    {"unknown_option", Reason::kUsage, "order", [](Order& o) { o.options = {"wings"}; }},
    {"unknown_question", Reason::kUsage, "colour",
     [](Order& o) {
       o.answers.push_back({"colour", "red"});
     }},
    {"unknown_choice", Reason::kUsage, "fuel", [](Order& o) { o.answers[0].answer = "diesel"; }},
    {"text_of_a_choice", Reason::kUsage, "fuel", [](Order& o) { o.answers[0].answer = "95"; }},
    {"no_number", Reason::kUsage, "mass", [](Order& o) { o.answers[1].answer = "heavy"; }},
    {"number_with_a_comma", Reason::kUsage, "mass", [](Order& o) { o.answers[1].answer = "1,5"; }},
    {"number_without_digits", Reason::kUsage, "mass", [](Order& o) { o.answers[1].answer = "-."; }},
    {"number_ends_in_a_point", Reason::kUsage, "mass", [](Order& o) { o.answers[1].answer = "5."; }},
    {"empty_answer", Reason::kUsage, "remarks",
     [](Order& o) {
       o.answers.push_back({"remarks", ""});
     }},
    {"long_answer", Reason::kUsage, "remarks",
     [](Order& o) {
       o.answers.push_back({"remarks", std::string(4097, 'x')});
     }},
    {"not_answered", Reason::kUsage, "fuel", [](Order& o) { o.answers.clear(); }},
    {"requires_an_option", Reason::kOptionRequires, "shift-light",
     [](Order& o) {
       o.options = {"shift-light"};
       o.answers = {{"fuel", "e85"}, {"built-in", "lamp"}};
     }},
    {"requires_a_fuel", Reason::kOptionRequires, "high-octane",
     [](Order& o) { o.options = {"high-octane"}; }},
    {"requires_hardware", Reason::kOptionRequires, "shift-light",
     [](Order& o) {
       o.options = {"cold-start", "shift-light"};
     }},
    {"excludes_an_option", Reason::kOptionExcludes, "high-octane",
     [](Order& o) {
       o.options = {"high-octane", "towing"};
       o.answers[0].answer = "ron-98";
     }},
    {"excludes_a_fuel", Reason::kOptionExcludes, "towing", [](Order& o) { o.answers[0].answer = "e85"; }},
    {"excludes_hardware", Reason::kOptionExcludes, "towing",
     [](Order& o) {
       o.answers = {{"fuel", "ron-95"}, {"built-in", "small-cooler"}};
     }},
    {"caution_not_accepted", Reason::kUsage, "cautions", [](Order& o) { o.accepted.clear(); }},
    {"caution_of_something_else", Reason::kUsage, "cautions",
     [](Order& o) { o.accepted.push_back("Only this fuel."); }},
};
INSTANTIATE_TEST_SUITE_P(Table, OrderFault, ::testing::ValuesIn(kBentOrders),
                         [](const auto& one) { return std::string(one.param.name); });

TEST(Order, Numbers) {
  for (const char* number : {"0", "-1", "12.5", "-0.25", "00"}) {
    Order order = sample_order();
    order.answers[1].answer = number;
    EXPECT_THAT(judge_order(sample_sheet(), order, true), IsOk()) << number;
  }
}

}  // namespace
}  // namespace calseal
