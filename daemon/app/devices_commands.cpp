#include "app/more_commands.hpp"

namespace steadyglow::app {

void add_devices_commands(CLI::App&, int&) {}

}  // namespace steadyglow::app
