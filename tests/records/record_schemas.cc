// Prints the JSON Schema of every record that our files are made of, by the kind of file, as one object: what
// records_test.py holds the pages against.
#include <iostream>

#include "calseal/base/record.h"
#include "calseal/bundle/changes.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/set_descriptor.h"
#include "calseal/check/receipt.h"
#include "calseal/check/state.h"
#include "calseal/job/vehicle_job.h"
#include "calseal/ledger/detail.h"
#include "calseal/ledger/layout.h"
#include "calseal/ledger/tip.h"
#include "calseal/option/option_file.h"
#include "calseal/parcel/customer_file.h"
#include "calseal/parcel/parcel.h"
#include "calseal/sign/shop_file.h"
#include "calseal/trust/approval.h"
#include "calseal/trust/consistency.h"
#include "calseal/trust/inclusion.h"
#include "calseal/trust/job_list.h"
#include "calseal/trust/ledger_entry.h"
#include "calseal/trust/sheet.h"
#include "calseal/trust/succession.h"
#include "calseal/trust/tree_head.h"
#include "calseal/trust/trust_file.h"
#include "calseal/trust/withdrawal.h"

namespace calseal {
namespace {

void changes_fields(Fields& field, std::vector<Change>& changes) {
  field.kind_of_file("changes/1");
  field("changes", changes, List{Record{change_fields}, kChangeLimit});
}

void print(const std::string& schema) {
  static const char* separator = "[";
  std::cout << separator << schema;
  separator = ",\n";
}

}  // namespace
}  // namespace calseal

int main() {
  using namespace calseal;
  print(record_schema(manifest_fields));
  print(record_schema(changes_fields));
  print(record_schema(set_fields));
  print(record_schema(trust_fields));
  print(record_schema(succession_fields));
  print(record_schema(withdrawal_fields));
  print(record_schema(job_list_fields));
  print(record_schema(approval_fields));
  print(record_schema(inclusion_fields));
  print(record_schema(consistency_fields));
  print(record_schema(ledger_entry_fields));
  print(record_schema(ledger_line_fields));
  print(record_schema(tip_fields));
  print(record_schema(ledger_detail_fields));
  print(record_schema(signed_head_fields));
  print(record_schema(receipt_fields));
  print(record_schema(state_fields));
  print(record_schema(option_fields));
  print(record_schema(shop_fields));
  print(record_schema(vehicle_fields));
  print(record_schema(sheet_fields));
  print(record_schema(parcel_fields));
  print(record_schema(customer_fields));
  std::cout << "]\n";
}
