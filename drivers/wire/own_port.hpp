#pragma once
/// A port of this machine for this program alone: of two readers of one line each gets half of the answers, or those of the other.
#include <string>

#include "core/result.hpp"

namespace steadyglow::drivers::wire {

/// Opens `device` to read and write without waiting, and locks it (flock(2)): the descriptor, or why not and what to do about it.
Result<int> open_alone(const std::string& device);

/// From now on nobody opens this port, whether they look for a lock or not (TIOCEXCL of ioctl_tty(2); it does not hold root back). A
/// pseudo-terminal has the lock alone: its other end would keep it shut after a program that was killed, and for the next one as well.
void shut_others_out(int descriptor);
/// The same undone, before the descriptor is closed: it lasts for as long as anybody has the port open.
void let_others_in(int descriptor);

}  // namespace steadyglow::drivers::wire
