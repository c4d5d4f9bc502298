#pragma once
#include "core/result.hpp"

namespace steadyglow::app {

/// Exit codes: 0 and 1 are ours, the others after sysexits.h of 4.3BSD.
enum ExitCode : int {
  exit_good = 0,
  exit_not_good = 1,  ///< done, and the answer is "not good": a fail, an alarm, a difference
  exit_usage = 64,
  exit_bad_data = 65,
  exit_unavailable = 69,
  exit_cannot_create = 73,
  exit_io = 74,
  exit_permission = 77,
  exit_config = 78
};

inline ExitCode exit_code(Fault fault) {
  switch (fault) {
    case Fault::usage: return exit_usage;
    case Fault::bad_data: return exit_bad_data;
    case Fault::unavailable: return exit_unavailable;
    case Fault::cannot_create: return exit_cannot_create;
    case Fault::io: return exit_io;
    case Fault::permission: return exit_permission;
    case Fault::config: break;
  }
  return exit_config;
}

}  // namespace steadyglow::app
