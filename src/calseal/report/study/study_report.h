// What the study of an incoming read and of a write says, for people and for programs.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/report/layout/page.h"
#include "calseal/study/read_judgement.h"
#include "calseal/study/region_map_library.h"
#include "calseal/study/vote.h"
#include "calseal/study/write_plan.h"

namespace calseal {

// What a grade means, what the read may be used for, and how it was recognised, or why not.
std::string read_grade_words(ReadGrade grade);
std::string read_use_words(const ReadJudgement& judgement);
std::string recognition_words(const ReadJudgement& judgement);
// A field as it stands, with what is wrong about it.
std::string identity_words(const ReadJudgement& judgement, const IdentityValue& value);

// The whole verdict on one read: name, map, identity, checks, findings with place, meaning and advice, grade.
std::string read_judgement_text(const RegionMap& map, const std::string& name, const ReadJudgement& judgement,
                                const Page& page);
// docs/json-output.md, "receive/1", one element of "reads".
JsonValue read_judgement_json(const RegionMap& map, const std::string& name, const ReadJudgement& judgement);

std::string vote_text(const RegionMap& map, const Vote& vote, std::size_t reads, const Page& page);
JsonValue vote_json(const RegionMap& map, const Vote& vote);

// Why a folder's map was chosen, or none.
std::string map_choice_text(const RegionMapLibrary& library, const MapChoice& choice, const Page& page);

// What a plan reckons with, and where it is from: "given", "region map" or "usual".
struct PlanRates {
  LinkRates rates{kReadRate, kWriteRate};
  std::string read_from = "usual", write_from = "usual";
};
std::string write_plan_text(const RegionMap& map, const WritePlan& plan, const PlanRates& rates,
                            const Page& page);
JsonValue write_plan_json(const RegionMap& map, const WritePlan& plan, const PlanRates& rates);

}  // namespace calseal
