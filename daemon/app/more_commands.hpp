#pragma once
/// Words of the command line, one file for each group. `result` becomes the exit code.
namespace CLI {
class App;
}

namespace steadyglow::app {

void add_card_commands(CLI::App& app, int& result);      ///< what is known of a unit, and the shop's memory
void add_page_commands(CLI::App& app, int& result);      ///< the pages of a run
void add_seal_commands(CLI::App& app, int& result);      ///< the sealed record, and checking one
void add_compare_commands(CLI::App& app, int& result);   ///< two runs
void add_take_out_commands(CLI::App& app, int& result);  ///< readings in and out, and the whole store

void add_scan_commands(CLI::App& app, int& result);      ///< what hangs on a Modbus line, and what its registers hold
void add_scpi_commands(CLI::App& app, int& result);      ///< what answers as an SCPI instrument
void add_devices_commands(CLI::App& app, int& result);   ///< the names of this machine's ports and sensors that stay

}  // namespace steadyglow::app
