// What the study of a read or a map says, for people and for programs: one header for each subject beside
// this.
#pragma once

#include "calseal/report/layout/page.h"
