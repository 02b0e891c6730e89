// Which part of an audit a run is: as stated, or as the engine that started it says.
#pragma once

#include <string>

#include "calseal/archive/record.h"
#include "calseal/archive/walk.h"
#include "calseal/base/result.h"
#include "calseal/cli/console/console.h"

namespace calseal {

// "" is the whole; "K/N" is part K of N, from 1; "auto" takes it from the environment: a Slurm array's
// SLURM_ARRAY_TASK_ID with _MIN, _STEP and _COUNT, or Open MPI's OMPI_COMM_WORLD_RANK and _SIZE. kUsage.
Result<Part> stated_part(const std::string& text);

// `path` with the part's number in place of "{part}".
std::string path_of_part(std::string path, const Part& part);

// What a run over one part says; its record, at `path`, is joined with the others later.
void say_part(const Part& part, const AuditRecord& record, const std::string& path, const Console& console);

}  // namespace calseal
