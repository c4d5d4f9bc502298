#pragma once
namespace CLI {
class App;
}

namespace steadyglow::app {

void add_starter_commands(CLI::App& app, int& result);  ///< a first configuration round meters that were just found

}  // namespace steadyglow::app
