/// What is known of a unit, the search over all of them, and the shop's memory.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <cctype>
#include <memory>
#include <nlohmann/json.hpp>

#include "app/ask_daemon.hpp"
#include "app/exit_code.hpp"
#include "app/more_commands.hpp"
#include "app/night_options.hpp"
#include "app/text_file.hpp"
#include "http/client.hpp"
#include "http/server.hpp"

namespace steadyglow::app {
namespace {

using Json = nlohmann::json;

constexpr std::chrono::milliseconds book_deadline{25'000};  ///< the daemon may tell old runs again first

/// A name inside an address: everything but letters, digits, - . _ ~ is escaped (RFC 3986, 2.3).
std::string in_address(const std::string& name) {
  std::string out;
  for (const unsigned char c : name)
    out += std::isalnum(c) || c == '-' || c == '.' || c == '_' || c == '~' ? std::string(1, static_cast<char>(c)) : fmt::format("%{:02X}", c);
  return out;
}

/// As ask_daemon, and a photo's bytes go as they are.
Result<Json> ask_book(const BenchAddress& daemon, const std::string& method, const std::string& target, const std::string& body = {}, const std::string& type = "application/json") {
  std::string password;
  if (!daemon.password_file.empty()) {
    const auto text = read_text_file(daemon.password_file);
    if (!text) return tl::unexpected(text.error());
    password = text->substr(0, text->find_first_of("\r\n"));
  }
  const auto answer = http::ask(daemon.host, daemon.port, method, target, body, password, book_deadline, type);
  if (!answer) return tl::unexpected(answer.error());
  Json json = Json::parse(answer->body, nullptr, false);
  if (json.is_discarded()) return fail(Fault::bad_data, "the answer is no JSON", "is another program listening there?", daemon.host + ":" + std::to_string(daemon.port));
  if (answer->status >= 200 && answer->status < 300) return json;
  const Fault fault = answer->status == 404 ? Fault::bad_data : answer->status == 401 || answer->status == 403 || answer->status == 409 ? Fault::permission : answer->status >= 500 ? Fault::unavailable : Fault::usage;
  return fail(fault, json.value("error", "refused"), json.value("hint", ""));
}

std::string hours_of(const Json& seconds) { return seconds.is_number() ? fmt::format("{:.1f} h", seconds.get<double>() / 3600.0) : "hours not known yet"; }

void print_run(const Json& run) {
  const std::string verdict = text_of(run["verdict"]);
  fmt::print("  run {}  {}  {}  {} counted{}{}\n", run["id"].get<std::int64_t>(), text_of(run["started_utc"]), verdict.empty() ? text_of(run["state"]) : verdict, hours_of(run["counted_s"]),
             run["failed_s"].is_number() ? ", failed after " + hours_of(run["failed_s"]) : "", text_of(run["signed_by"]).empty() ? "" : ", signed by " + text_of(run["signed_by"]));
}

void print_head(const Json& card) {
  const std::string state = text_of(card["state"]);
  fmt::print("{}  {}{}{}  [{}]\n", text_of(card["name"]), text_of(card["title"]), text_of(card["serial"]).empty() ? "" : ", serial " + text_of(card["serial"]),
             text_of(card["stock_number"]).empty() ? "" : ", stock number " + text_of(card["stock_number"]), state == "in_shop" ? "in the shop" : state);
}

void print_card(const Json& card) {
  print_head(card);
  for (const Json& run : card["runs"]) print_run(run);
  for (const Json& tube : card["tubes"]) fmt::print("  in {}: {} {}\n", text_of(tube["socket"]), text_of(tube["type"]), text_of(tube["identity"]));
  for (const Json& entry : card["entries"]) {
    const bool is_corrected = entry["corrected_by"].is_number();
    fmt::print("  {}{:>5}  {}  {}: {}{}\n", is_corrected ? "x" : " ", entry["id"].get<std::int64_t>(), text_of(entry["utc"]), text_of(entry["who"]), text_of(entry["text"]),
               is_corrected ? fmt::format(" (corrected by {})", entry["corrected_by"].get<std::int64_t>()) : "");
  }
}

struct Words {
  BenchAddress daemon;
  std::string card, who, text, kind, model, file, caption, point;
  std::string title, plate_kind, maker, plate_model, serial, stock_number, told, found, socket, type, identity, what, uom, day, complaint;
  std::optional<double> volts, hertz, prior_hours, before, after, owner_hours, hours;
  std::vector<std::string> parts_in, parts_out;
  std::optional<std::int64_t> corrects;
  bool is_json = false;
  bool is_fault = false;
  bool is_no_fault = false;
};

int show(const Words& words) {
  const auto json = ask_book(words.daemon, "GET", "/api/v1/cards/" + in_address(words.card));
  if (!json) return say(json.error());
  if (words.is_json) fmt::print("{}\n", json->dump(2));
  else print_card((*json)["card"]);
  return exit_good;
}

int find(const Words& words) {
  const auto json = ask_book(words.daemon, "GET", "/api/v1/cards?find=" + in_address(words.text));
  if (!json) return say(json.error());
  if (words.is_json) {
    fmt::print("{}\n", json->dump(2));
  } else {
    for (const Json& card : (*json)["cards"]) {
      print_head(card);
      for (const Json& by : card["found_by"]) fmt::print("  by {}: {}\n", text_of(by["field"]), text_of(by["text"]));
    }
    if (const auto left_out = json->value("left_out", 0); left_out > 0) fmt::print("and {} more: say more of what you look for\n", left_out);
    if ((*json)["cards"].empty()) fmt::print("nothing fits\n");
  }
  return (*json)["cards"].empty() ? exit_not_good : exit_good;
}

int memory(const Words& words) {
  std::string target = "/api/v1/memory?kind=" + in_address(words.kind) + "&model=" + in_address(words.model);
  if (words.hours) target += fmt::format("&hours={}", *words.hours);
  const auto json = ask_book(words.daemon, "GET", target);
  if (!json) return say(json.error());
  if (words.is_json) {
    fmt::print("{}\n", json->dump(2));
    return exit_good;
  }
  fmt::print("{}\n", text_of((*json)["line"]));
  for (const Json& sentence : (*json)["sentences"]) fmt::print("- {}\n", text_of(sentence));
  fmt::print("What this does not say:\n");
  for (const Json& sentence : (*json)["cannot_say"]) fmt::print("- {}\n", text_of(sentence));
  if (const auto unread = json->value("runs_unread", 0); unread > 0) fmt::print("{} runs have not been told again yet and are missing here: ask again in a moment\n", unread);
  return exit_good;
}

int write(const Words& words, const char* kind, const Json& fields) {
  Json body{{"who", words.who}, {"kind", kind}, {"fields", fields}};
  if (words.corrects) body["corrects"] = *words.corrects;
  const auto json = ask_book(words.daemon, "POST", "/api/v1/cards/" + in_address(words.card) + "/entries", body.dump());
  if (!json) return say(json.error());
  print_card((*json)["card"]);
  return exit_good;
}

int send_photo(const Words& words) {
  const auto bytes = read_text_file(words.file, http::photo_bytes_max);
  if (!bytes) return say(bytes.error());
  const std::string target = fmt::format("/api/v1/cards/{}/photos?who={}&caption={}&point={}", in_address(words.card), in_address(words.who), in_address(words.caption), in_address(words.point));
  // What it is, the daemon sees by its first bytes.
  const auto json = ask_book(words.daemon, "POST", target, *bytes, "image/jpeg");
  if (!json) return say(json.error());
  print_card((*json)["card"]);
  return exit_good;
}

/// Only what was given.
class Fields {
 public:
  Fields& text(const char* name, const std::string& value) {
    if (!value.empty()) json_[name] = value;
    return *this;
  }
  Fields& number(const char* name, const std::optional<double>& value) {
    if (value) json_[name] = *value;
    return *this;
  }
  Fields& texts(const char* name, const std::vector<std::string>& values) {
    if (!values.empty()) json_[name] = values;
    return *this;
  }
  const Json& json() const { return json_; }

 private:
  Json json_ = Json::object();
};

/// One command for each kind of entry under `steadyglow card`.
void add_entry_commands(CLI::App& card, const std::shared_ptr<Words>& words, int& result) {
  Words* w = words.get();
  const auto entry = [&](const char* name, const char* what) {
    CLI::App* added = card.add_subcommand(name, what);
    added->add_option("card", w->card, "name of the card; a new one is begun if there is none")->required();
    added->add_option("--who", w->who, "your name")->required();
    add_bench_options(*added, w->daemon);
    return added;
  };
  const auto corrects = [&](CLI::App* command) { command->add_option("--corrects", w->corrects, "number of the entry in whose place this one stands"); };
  const auto does = [&](CLI::App* command, const char* kind, auto fields) {
    corrects(command);
    command->callback([words, &result, kind, fields] { result = write(*words, kind, fields(*words).json()); });
  };

  auto* plate = entry("plate", "what stands on the unit");
  plate->add_option("--title", w->title, "how you call it");
  plate->add_option("--kind", w->plate_kind, "as in its profile: tube-pp-fixed-bias");
  plate->add_option("--maker", w->maker);
  plate->add_option("--model", w->plate_model);
  plate->add_option("--serial", w->serial);
  plate->add_option("--volts", w->volts, "of the nameplate");
  plate->add_option("--hertz", w->hertz, "of the nameplate");
  plate->add_option("--stock-number", w->stock_number);
  does(plate, "unit", [](const Words& x) {
    return Fields().text("title", x.title).text("kind", x.plate_kind).text("maker", x.maker).text("model", x.plate_model).text("serial", x.serial).number("nameplate_volts", x.volts)
        .number("nameplate_hertz", x.hertz).text("stock_number", x.stock_number);
  });

  auto* repair = entry("repair", "what was wrong and what was done");
  repair->add_option("--told", w->told, "the fault as you were told of it");
  repair->add_option("--found", w->found, "what it was")->required();
  repair->add_option("--out", w->parts_out, "part that went out; may be given again");
  repair->add_option("--in", w->parts_in, "part that went in; may be given again");
  does(repair, "repair", [](const Words& x) { return Fields().text("told", x.told).text("found", x.found).texts("parts_out", x.parts_out).texts("parts_in", x.parts_in); });

  auto* tube = entry("tube", "which tube is in which socket");
  tube->add_option("--socket", w->socket)->required();
  tube->add_option("--type", w->type)->required();
  tube->add_option("--identity", w->identity, "the number that you gave it or found on it");
  tube->add_option("--hours", w->prior_hours, "it had before");
  does(tube, "tube", [](const Words& x) { return Fields().text("socket", x.socket).text("type", x.type).text("identity", x.identity).number("prior_hours", x.prior_hours); });

  auto* adjustment = entry("adjustment", "what was set, from and to");
  adjustment->add_option("--what", w->what)->required();
  adjustment->add_option("--from", w->before)->required();
  adjustment->add_option("--to", w->after)->required();
  adjustment->add_option("--uom", w->uom, "UCUM: mV, mA, Cel")->required();
  does(adjustment, "adjustment", [](const Words& x) { return Fields().text("what", x.what).number("before", x.before).number("after", x.after).text("uom", x.uom); });

  auto* test = entry("safety-test", "method, values, instrument of the safety test after repair");
  test->add_option("text", w->text)->required();
  does(test, "safety_test", [](const Words& x) { return Fields().text("text", x.text); });

  auto* sold = entry("sold", "it left the shop");
  sold->add_option("--day", w->day, "2026-01-31")->required();
  does(sold, "sold", [](const Words& x) { return Fields().text("day", x.day); });

  auto* returned = entry("returned", "it came back");
  returned->add_option("--day", w->day, "2026-01-31")->required();
  returned->add_option("--hours", w->owner_hours, "that its owner had it on, as far as known");
  returned->add_option("--complaint", w->complaint, "what the owner says")->required();
  returned->add_option("--found", w->found, "what it was");
  auto* fault = returned->add_flag("--fault", w->is_fault, "it was a fault of the unit");
  auto* no_fault = returned->add_flag("--no-fault", w->is_no_fault, "it was not: transport, or a change of mind")->excludes(fault);
  fault->excludes(no_fault);
  corrects(returned);
  returned->callback([words, &result] {
    if (!words->is_fault && !words->is_no_fault) throw CLI::ValidationError("returned", "say --fault or --no-fault: the shop's memory depends on it");
    Json fields = Fields().text("day", words->day).number("owner_hours", words->owner_hours).text("complaint", words->complaint).text("found", words->found).json();
    fields["is_fault"] = words->is_fault;
    result = write(*words, "returned", fields);
  });

  auto* remark = entry("remark", "anything else; with --corrects it withdraws an entry");
  remark->add_option("text", w->text)->required();
  does(remark, "remark", [](const Words& x) { return Fields().text("text", x.text); });

  auto* photo = entry("photo", "a picture, JPEG or PNG, of at most 8 MiB");
  photo->add_option("file", w->file)->required();
  photo->add_option("--caption", w->caption);
  photo->add_option("--point", w->point, "the test point that it shows");
  photo->callback([words, &result] { result = send_photo(*words); });
}

}  // namespace

void add_card_commands(CLI::App& app, int& result) {
  // The callbacks keep them alive.
  const auto words = std::make_shared<Words>();
  Words* w = words.get();

  auto* card = app.add_subcommand("card", "what is known of a unit, and writing it down; nothing is ever removed");
  card->require_subcommand(1);
  auto* show_command = card->add_subcommand("show", "the whole card");
  show_command->add_option("card", w->card, "its name, as find shows it")->required();
  show_command->add_flag("--json", w->is_json);
  add_bench_options(*show_command, w->daemon);
  show_command->callback([words, &result] { result = show(*words); });
  add_entry_commands(*card, words, result);

  auto* find_command = app.add_subcommand("find", "look for a unit by serial, model, title, tube or stock number; exit 1 when nothing fits");
  find_command->add_option("text", w->text)->required();
  find_command->add_flag("--json", w->is_json);
  add_bench_options(*find_command, w->daemon);
  find_command->callback([words, &result] { result = find(*words); });

  auto* memory_command = app.add_subcommand("memory", "how long repairs lasted here, and what that says about the length of a plan");
  memory_command->add_option("--kind", w->kind, "of one kind of unit: tube-pp-fixed-bias");
  memory_command->add_option("--model", w->model, "of one model");
  memory_command->add_option("--hours", w->hours, "counted hours of the plan (24)");
  memory_command->add_flag("--json", w->is_json);
  add_bench_options(*memory_command, w->daemon);
  memory_command->callback([words, &result] { result = memory(*words); });
}

}  // namespace steadyglow::app
