#include "calseal/parcel/order.h"

#include <algorithm>
#include <set>

#include "calseal/base/text.h"

namespace calseal {
namespace {

tl::unexpected<Error> order_usage(std::string place, std::string found, std::string expected,
                                  std::string next) {
  return fail({Reason::kUsage, "", std::move(place), std::move(found), std::move(expected), std::move(next)});
}

std::string quoted(std::string_view text) { return "\"" + printable(text, 80) + "\""; }

bool is_digits(std::string_view text) {
  return !text.empty() && std::ranges::all_of(text, [](char c) { return c >= '0' && c <= '9'; });
}

// -?[0-9]+(\.[0-9]+)?
bool is_number(std::string_view text) {
  if (text.starts_with('-')) text.remove_prefix(1);
  const std::size_t point = text.find('.');
  if (point == std::string_view::npos) return is_digits(text);
  return is_digits(text.substr(0, point)) && is_digits(text.substr(point + 1));
}

std::string choices_text(const SheetQuestion& question) {
  std::string text = "one of";
  for (const QuestionChoice& choice : question.choices) text += " " + choice.name;
  return text;
}

Status check_answer(const Sheet& sheet, const ParcelAnswer& answer) {
  const SheetQuestion* const question = sheet.find_question(answer.question);
  const std::string place = "answer to " + printable(answer.question, 80);
  if (question == nullptr)
    return order_usage(place, "a question that the sheet does not ask", "a question of the sheet",
                       "leave it out, or say it in your words");
  const std::string next = "answer: " + printable(question->text);
  if (answer.answer.empty() || answer.answer.size() > kAnswerSizeLimit || !is_utf8(answer.answer))
    return order_usage(place, std::to_string(answer.answer.size()) + " bytes",
                       "from 1 to " + grouped(kAnswerSizeLimit) + " bytes of UTF-8", next);
  if (question->kind == QuestionKind::kNumber && !is_number(answer.answer))
    return order_usage(place, quoted(answer.answer), "a number, like 12 or 12.5", next);
  const bool is_chosen = std::ranges::any_of(
      question->choices, [&](const QuestionChoice& choice) { return choice.name == answer.answer; });
  if (question->kind == QuestionKind::kChoice && !is_chosen)
    return order_usage(place, quoted(answer.answer), choices_text(*question), next);
  return {};
}

// What the answers say of the vehicle.
std::set<std::string> stated(const Sheet& sheet, const Order& order, QuestionStates states) {
  std::set<std::string> names;
  for (const ParcelAnswer& answer : order.answers) {
    const SheetQuestion* const question = sheet.find_question(answer.question);
    if (question != nullptr && question->states == states) names.insert(answer.answer);
  }
  return names;
}

// The first of `names` that is there, or not, as `wanted` says; nullptr where there is none.
const std::string* find_first(const std::vector<std::string>& names, const std::set<std::string>& there,
                              bool wanted) {
  const auto at =
      std::ranges::find_if(names, [&](const std::string& name) { return there.contains(name) == wanted; });
  return at == names.end() ? nullptr : &*at;
}

Status check_conditions(const Sheet& sheet, const Order& order) {
  const std::set<std::string> options(order.options.begin(), order.options.end());
  const std::set<std::string> fuel = stated(sheet, order, QuestionStates::kFuel);
  const std::set<std::string> hardware = stated(sheet, order, QuestionStates::kHardware);
  struct Kind {
    const char* word;
    std::vector<std::string> SheetConditions::*names;
    const std::set<std::string>& there;
  };
  const Kind kinds[] = {{"the option ", &SheetConditions::options, options},
                        {"the fuel ", &SheetConditions::fuel, fuel},
                        {"the hardware ", &SheetConditions::hardware, hardware}};
  for (const std::string& name : order.options) {
    const SheetOption& option = *sheet.find_option(name);
    for (const Kind& kind : kinds) {
      if (const auto* lacks = find_first(option.requires_also.*kind.names, kind.there, false))
        return fail({Reason::kOptionRequires, "", "order of " + name, "no " + *lacks,
                     kind.word + *lacks + " beside it", "order or answer that too, or leave this one out"});
      if (const auto* has = find_first(option.excludes.*kind.names, kind.there, true))
        return fail({Reason::kOptionExcludes, "", "order of " + name, kind.word + *has, "not both",
                     "leave one of the two out"});
    }
  }
  return {};
}

}  // namespace

Result<Order> put_in_order(const Sheet& sheet, std::vector<std::string> options,
                           const std::vector<ParcelAnswer>& answers) {
  Order order;
  std::ranges::sort(options);
  if (const auto twice = std::ranges::adjacent_find(options); twice != options.end())
    return order_usage("order", quoted(*twice) + " twice", "each option once", "name it once");
  order.options = std::move(options);
  for (std::size_t i = 0; i < answers.size(); ++i) {
    const std::string& question = answers[i].question;
    if (sheet.find_question(question) == nullptr) CALSEAL_CHECK(check_answer(sheet, answers[i]));
    for (std::size_t j = 0; j < i; ++j) {
      if (answers[j].question == question)
        return order_usage("answer to " + printable(question, 80), "two answers", "one", "answer it once");
    }
  }
  for (const SheetQuestion& question : sheet.asked.questions) {
    for (const ParcelAnswer& answer : answers) {
      if (answer.question == question.name) order.answers.push_back(answer);
    }
  }
  return order;
}

std::vector<std::string> cautions_of(const Sheet& sheet, const std::vector<std::string>& options) {
  std::vector<std::string> cautions;
  const auto add = [&](const std::vector<std::string>& more) {
    for (const std::string& caution : more) {
      if (std::ranges::find(cautions, caution) == cautions.end()) cautions.push_back(caution);
    }
  };
  add(sheet.asked.cautions);
  for (const std::string& name : options) {
    if (const SheetOption* option = sheet.find_option(name)) add(option->cautions);
  }
  return cautions;
}

namespace {

Status check_required(const Sheet& sheet, const Order& order) {
  for (const SheetQuestion& question : sheet.asked.questions) {
    const bool answered = std::ranges::any_of(
        order.answers, [&](const ParcelAnswer& answer) { return answer.question == question.name; });
    if (question.required && !answered)
      return order_usage("answer to " + question.name, "no answer", "one: the shop needs it",
                         "answer: " + printable(question.text));
  }
  return {};
}

Status check_accepted(const Sheet& sheet, const Order& order) {
  const std::vector<std::string> cautions = cautions_of(sheet, order.options);
  if (cautions.size() > kAcceptedLimit)
    return order_usage("cautions", grouped(cautions.size()), "at most " + grouped(kAcceptedLimit),
                       "order less");
  for (const std::string& caution : cautions) {
    if (std::ranges::find(order.accepted, caution) == order.accepted.end())
      return order_usage("cautions", "not accepted: " + printable(caution), "each caution accepted",
                         "read them, and accept them or leave the option out");
  }
  if (order.accepted != cautions)
    return order_usage("cautions", "other cautions than those of this order", "these, in their order",
                       "accept those of the sheet and of what is ordered");
  return {};
}

}  // namespace

Status judge_order(const Sheet& sheet, const Order& order, bool brings_read) {
  for (const std::string& name : order.options) {
    if (sheet.find_option(name) != nullptr) continue;
    return order_usage("order", quoted(name), "an option of the sheet",
                       "look at the sheet; say in your words what is not on it");
  }
  for (const ParcelAnswer& answer : order.answers) CALSEAL_CHECK(check_answer(sheet, answer));
  const bool asks = brings_read || !order.options.empty();
  if (asks) CALSEAL_CHECK(check_required(sheet, order));
  CALSEAL_CHECK(check_conditions(sheet, order));
  return asks || !order.accepted.empty() ? check_accepted(sheet, order) : Status();
}

}  // namespace calseal
