// What the shop writes to its customer along with a revision: plain text to paste into a mail. It adds
// nothing to what the bundle says and proves nothing; the bundle is what counts. docs/report.md, "The
// message".
#pragma once

#include <string>
#include <vector>

namespace calseal {

// One bundle of the delivery. Texts are as the manifest has them; the message escapes them.
struct MessageRevision {
  std::string file;        // name of the bundle
  std::string controller;  // "engine"
  std::string number;      // "3"; "0" for the way back
  std::string title, notes;
  std::string phrase;                          // spoken_code() of the manifest's digest
  std::string since;                           // what `changes` compares with: "revision 2", "the base"
  std::vector<std::string> changes;            // item_summaries()
  std::vector<std::string> options;            // titles
  std::vector<std::string> ordered_not_in_it;  // title and why
  std::vector<std::string> requirements, cautions;
  std::string expires;  // of a trial; else empty
};

struct MessageFacts {
  std::string vehicle;                     // the word that shop and customer share; may be empty
  std::vector<MessageRevision> revisions;  // at least one; of a set in the order of writing
  bool is_set = false;                     // they are valid only together; else each is checked alone
  bool drivable_between = false;           // of a set
  bool fresh_read =
      false;             // the check asks for a read that was taken now (erase sectors with learned values)
  std::string way_back;  // file of revision 0, perhaps of each controller: "r0.calseal"; may be empty
  std::string page;      // file of the customer's page; empty: the shop sends none
};

// Lines of at most 76 columns, each with its line end; words that are longer stay whole.
std::string message_to_customer(const MessageFacts& facts);

}  // namespace calseal
