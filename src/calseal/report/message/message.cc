#include "calseal/report/message/message.h"

#include <algorithm>
#include <string_view>

#include "calseal/base/text.h"
#include "calseal/report/layout/page.h"
#include "calseal/report/verdict/verdict_report.h"

namespace calseal {
namespace {

constexpr std::size_t kWidth = 76;
constexpr std::size_t kMostChanges = 8;  // of one revision
constexpr std::size_t kMostNoteLines = 20;
constexpr std::size_t kMostText = 1000;  // bytes of one line that came from a file

// `text` behind `start`, wrapped under itself.
std::string wrapped(const std::string& start, const std::string& text) {
  std::string out;
  std::string lead = start;
  for (const std::string& line : wrap_words(text, kWidth - start.size())) {
    out += lead + line + "\n";
    lead.assign(start.size(), ' ');
  }
  return out;
}

std::string bullet(const std::string& text) { return wrapped("  - ", text); }

std::string escaped(std::string_view text) { return printable(text, kMostText); }

std::string listed(const std::vector<std::string>& words) {
  std::string text;
  for (const std::string& word : words) text += (text.empty() ? "" : ", ") + escaped(word);
  return text;
}

std::string revision_words(const MessageRevision& revision) {
  std::string words = escaped(revision.controller) + ", ";
  words += revision.number == "0" ? "revision 0, the way back" : "revision " + revision.number;
  return words + (revision.title.empty() ? "" : ": " + escaped(revision.title));
}

std::string notes_text(std::string_view notes) {
  std::string text;
  for (std::size_t i = 0; !notes.empty(); ++i) {
    if (i == kMostNoteLines) return text + "  ...\n";
    const std::size_t end = notes.find('\n');
    text += wrapped("  ", escaped(notes.substr(0, end)));
    notes.remove_prefix(end == std::string_view::npos ? notes.size() : end + 1);
  }
  return text;
}

std::string news_text(const MessageRevision& revision) {
  if (revision.number == "0")
    return "  Your own read as it came. Keep it: it takes the controller back at any time.\n";
  std::string text = "  New since " + escaped(revision.since) + ":\n";
  if (revision.changes.empty()) text += bullet("no value of the calibration");
  const std::size_t shown = std::min(revision.changes.size(), kMostChanges);
  for (std::size_t i = 0; i < shown; ++i) text += bullet(escaped(revision.changes[i]));
  if (const std::size_t more = revision.changes.size() - shown; more > 0)
    text += bullet("and " + counted(more, "more value or table", "more values and tables"));
  if (!revision.options.empty()) text += wrapped("  In it: ", listed(revision.options));
  for (const std::string& option : revision.ordered_not_in_it)
    text += wrapped("  Ordered, and NOT in it: ", escaped(option));
  return text;
}

std::string files_words(const MessageFacts& facts, const char* between) {
  std::string text;
  for (const MessageRevision& revision : facts.revisions)
    text += (text.empty() ? "" : between) + escaped(revision.file);
  return text;
}

std::string order_words(const MessageFacts& facts) {
  std::string text;
  for (const MessageRevision& revision : facts.revisions)
    text += (text.empty() ? "" : ", then ") + escaped(revision.controller);
  return text + (facts.drivable_between
                     ? ". You may drive in between."
                     : ". Do not drive in between. If a later write fails, write it again; if it "
                       "cannot be written, write back what you wrote before you start the engine.");
}

// Nothing but ways back: they are kept, and not written now.
bool only_kept(const MessageFacts& facts) {
  return std::ranges::all_of(facts.revisions,
                             [](const MessageRevision& revision) { return revision.number == "0"; });
}

std::string check_step(const MessageFacts& facts) {
  const bool several = facts.revisions.size() > 1;
  return "Check " + files_words(facts, " and ") + " with your read" + (several ? "s: " : ": ") +
         (facts.page.empty() ? "" : "open " + escaped(facts.page) + ", or ") + "run calseal-check" +
         (!facts.is_set                 ? ""
          : facts.revisions.size() == 2 ? ", with the other bundle as partner"
                                        : ", with the other bundles as partners") +
         (only_kept(facts) ? ". It must say ACCEPTED; else call us."
                           : ". Write only after ACCEPTED. After REFUSED write nothing, and call us.");
}

std::string steps_text(const MessageFacts& facts) {
  const bool several = facts.revisions.size() > 1;
  std::size_t number = 0;
  const auto step = [&](const std::string& text) {
    return wrapped("  " + std::to_string(++number) + ". ", text);
  };
  std::string text;
  if (facts.fresh_read) {
    text += step(several ? "Read the controllers now, and do not drive until they are written."
                         : "Read the controller now, and do not drive until it is written.");
  }
  text += step(check_step(facts));
  text += step(several ? "Compare the check phrases with what the check shows, or have us read them to you:"
                       : "Compare the check phrase with what the check shows, or have us read it to you:");
  for (const MessageRevision& revision : facts.revisions)
    text +=
        (several ? "     " + escaped(revision.file) + "\n" : "") + "     " + escaped(revision.phrase) + "\n";
  if (only_kept(facts)) {
    return text +
           step("Keep " + files_words(facts, " and ") +
                " and your first read in two places, and tell us that you have them. Write nothing now.");
  }
  text += step("Write the new image" + std::string(several ? "s" : "") + " with your own tool" +
               (facts.is_set ? ", in this order: " + order_words(facts) : ".") +
               (facts.way_back.empty() ? "" : " The way back is " + escaped(facts.way_back) + "."));
  return text + step("Read back, confirm with calseal confirm, and tell us.");
}

std::string watch_text(const MessageFacts& facts) {
  std::string text;
  for (const MessageRevision& revision : facts.revisions) {
    const std::string of = facts.revisions.size() > 1 ? escaped(revision.controller) + ": " : "";
    for (const std::string& need : revision.requirements) text += bullet(of + "needs " + escaped(need));
    for (const std::string& caution : revision.cautions) text += bullet(of + escaped(caution));
    if (!revision.expires.empty())
      text += bullet(of + "a trial: it must not be used after " + escaped(revision.expires));
  }
  return text;
}

}  // namespace

std::string message_to_customer(const MessageFacts& facts) {
  std::string text;
  if (!facts.vehicle.empty()) text += wrapped("For ", escaped(facts.vehicle));
  for (const MessageRevision& revision : facts.revisions) {
    text += wrapped("", revision_words(revision)) + news_text(revision);
    text += notes_text(revision.notes) + "\n";
  }
  text += "What to do\n";
  text += steps_text(facts);
  if (const std::string watch = watch_text(facts); !watch.empty()) text += "\nMind\n" + watch;
  if (only_kept(facts)) return text;
  text += "\nBefore you write\n";
  for (const std::string& caution : writing_cautions()) text += bullet(caution);
  return text;
}

}  // namespace calseal
