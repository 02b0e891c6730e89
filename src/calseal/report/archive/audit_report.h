// What an audit found, for people, spreadsheets and machines that watch over other machines.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "calseal/archive/judge.h"
#include "calseal/report/layout/page.h"

namespace calseal {

inline constexpr std::size_t kShownFindings = 200;  // in text for a terminal; files have all

// `limit`: findings at most, notes apart; 0: all.
std::string audit_text(const Judgement& judgement, const Page& page, std::size_t limit);
// JSON lines: what was audited, then each finding.
std::string audit_json_lines(const Judgement& judgement);
// RFC 4180: a header, then each finding; lines end in CR LF, every field is quoted.
std::string audit_csv(const Judgement& judgement);
// JUnit XML as build servers read it: a test case for each kind of finding that was looked for, failing once
// for each finding.
std::string audit_junit(const Judgement& judgement);

// The text format of Prometheus: gauges that a monitor collects from a file. No names of files are in it.
std::string audit_metrics(const Judgement& judgement);

enum class ReportFormat : std::uint8_t { kText, kJsonLines, kCsv, kJunit, kMetrics };
// By the end of a file's name: .txt, .jsonl, .csv, .xml, .prom.
std::optional<ReportFormat> report_format_of(std::string_view path);
std::string audit_report(const Judgement& judgement, ReportFormat format);

// Everything that an audit can find, for a terminal, and as docs/audit.md shows it.
std::string findings_text(const Page& page);
std::string findings_markdown();

}  // namespace calseal
