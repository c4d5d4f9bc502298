#include "app/night_options.hpp"

#include <cstdlib>
#include <ctime>

#include "core/decimal.hpp"

namespace steadyglow::app {
namespace {

/// All that the commands' options are read into; lives as long as the parser.
struct Words {
  ActWords act;
  PolicyWords policy;
  std::string unit, bench, who, text, kind, id, back_at;
  std::int64_t incident = 0;
  bool is_json = false;
  bool is_at_the_bench = false;
  bool accepts = false;
  bool only_tells = false;
};

/// Minutes from now to the next "08:00" of this machine's clock; throws what the parser shows.
double minutes_until(const std::string& time) {
  const std::size_t colon = time.find(':');
  const auto hour = parse_decimal(time.substr(0, colon));
  const auto minute = colon == std::string::npos ? std::nullopt : parse_decimal(time.substr(colon + 1));
  if (!hour || !minute || *hour < 0 || *hour > 23 || *minute < 0 || *minute > 59) throw CLI::ValidationError("--back-at", "`" + time + "` is no time of day such as 08:00");
  const std::time_t now = std::time(nullptr);
  std::tm local{};
  localtime_r(&now, &local);
  const double wanted = 60.0 * *hour + *minute;
  const double at_now = 60.0 * local.tm_hour + local.tm_min;
  constexpr double day_minutes = 1440.0;
  return wanted > at_now ? wanted - at_now : wanted - at_now + day_minutes;
}

}  // namespace

void add_bench_options(CLI::App& command, BenchAddress& daemon) {
  command.add_option("--host", daemon.host, "where steadyglowd listens")->capture_default_str();
  command.add_option("--port", daemon.port, "its port")->capture_default_str();
  command.add_option("--password-file", daemon.password_file, "file whose first line is the password, if one is set");
}

void add_night_commands(CLI::App& app, BenchAddress& daemon, int& result) {
  const auto words = std::make_shared<Words>();
  Words* w = words.get();
  const auto command = [&](const char* name, const char* what) {
    CLI::App* added = app.add_subcommand(name, what);
    add_bench_options(*added, daemon);
    return added;
  };
  const auto with_unit = [&](CLI::App* c) { c->add_option("unit", w->unit, "the unit's name")->required(); };
  const auto with_who = [&](CLI::App* c, std::string& who) { c->add_option("--who", who, "your name")->required(); };
  // Each callback keeps `words` alive.
  const auto does = [words, &result](CLI::App* c, auto work) { c->callback([words, work, &result] { result = work(); }); };

  // ---- what one does to a run ----
  const auto act_command = [&](const char* name, const char* kind, const char* what) {
    CLI::App* c = command(name, what);
    with_unit(c);
    with_who(c, w->act.who);
    c->add_option("--why", w->act.why, "the reason, for the record");
    does(c, [w, kind, &daemon] {
      w->act.kind = kind;
      return act(daemon, w->unit, w->act);
    });
    return c;
  };
  act_command("pause", "pause", "switch a unit off; its run waits");
  act_command("go-on", "go_on", "switch it on again, after a pause or a lost supply");
  act_command("remark", "remark", "a word for the record")->get_option("--why")->required();
  CLI::App* touch = act_command("touch", "touch", "a trimmer was turned: these points get a new segment");
  touch->add_option("--point", w->act.points, "a point that it moves; may be given again")->required();
  touch->add_option("--control", w->act.control, "which trimmer")->required();
  touch->add_option("--before", w->act.before, "what the first point read before");
  touch->add_option("--after", w->act.after, "what it reads now");
  CLI::App* replace = act_command("replace-part", "replace_part", "a part or tube was replaced: the unit starts its hours again");
  replace->add_option("--point", w->act.points, "a point that it feeds; may be given again; none: all");
  replace->add_option("--control", w->act.control, "which part")->required();
  act_command("move", "move", "the unit stands at another bench now")->add_option("--bench", w->act.bench, "which")->required();
  act_command("sign", "sign", "accept the proposed verdict, or give another with a reason")
      ->add_option("--word", w->act.word, "pass, pass_with_remarks, incomplete or fail")
      ->required()
      ->check(CLI::IsMember({"pass", "pass_with_remarks", "incomplete", "fail"}));
  CLI::App* shelve = act_command("shelve", "shelve", "put an alarm aside for a time");
  shelve->add_option("--alarm", w->act.alarm, "its number, as status shows it")->required();
  shelve->add_option("--minutes", w->act.minutes, "for how long (720 at most)")->required();
  act_command("unshelve", "unshelve", "take it back")->add_option("--alarm", w->act.alarm, "its number")->required();

  // ---- leaving it ----
  CLI::App* c = command("ready", "may it be left alone? One list, yes or no with reasons; exit 1 when not");
  with_unit(c);
  c->add_option("--who", w->who, "who would leave it");
  does(c, [w, &daemon] { return ready(daemon, w->unit, w->who); });

  c = command("leave", "leave a running unit unattended; refused while it is not ready");
  with_unit(c);
  with_who(c, w->policy.who);
  c->add_option("--back-at", w->back_at, "when you will be back, such as 08:00");
  c->add_flag("--staged-restart", w->policy.is_staged, "after a power cut switch on again, one unit after the other, once the mains were steady for 10 min and if it was healthy before");
  c->add_flag("--only-tell", w->only_tells, "do not cut when a limit will be reached before you are back");
  c->add_flag("--cut-when-stuck", w->policy.is_cut_when_stuck, "cut a deck whose tape or motor stands");
  c->add_flag("--wake-me", w->policy.wakes_for_forecast, "wake me when such a cut is made");
  does(c, [w, &daemon] {
    w->policy.cuts_on_forecast = !w->only_tells;
    if (!w->back_at.empty()) w->policy.back_in_minutes = minutes_until(w->back_at);
    return leave(daemon, w->unit, w->policy);
  });

  c = command("fact", "enter what was measured or reviewed");
  with_unit(c);
  c->add_option("kind", w->kind, "safety_test, limits_reviewed or clips_touched")->required()->check(CLI::IsMember({"safety_test", "limits_reviewed", "clips_touched"}));
  c->add_option("text", w->text, "the figures, or where they come from")->required();
  with_who(c, w->who);
  does(c, [w, &daemon] { return enter_fact(daemon, w->unit, w->kind, w->text, w->who); });

  // ---- the bench ----
  c = command("rehearse", "open and close the unit's relay and the bench contactor, and prove each by the current; stay beside it");
  c->add_option("bench", w->bench, "the bench's name")->required();
  with_unit(c);
  with_who(c, w->who);
  does(c, [w, &daemon] { return rehearse(daemon, w->bench, w->unit, w->who); });

  c = command("cut-bench", "open the bench contactor at once: everything on it goes off");
  c->add_option("bench", w->bench, "the bench's name")->required();
  with_who(c, w->who);
  c->add_option("--why", w->text, "the reason, for the record");
  does(c, [w, &daemon] { return cut_bench(daemon, w->bench, w->who, w->text); });

  c = command("close-bench", "close the bench contactor again");
  c->add_option("bench", w->bench, "the bench's name")->required();
  with_who(c, w->who);
  c->add_flag("--at-the-bench", w->is_at_the_bench, "you stand at the bench and have looked at it");
  does(c, [w, &daemon] { return close_bench(daemon, w->bench, w->who, w->is_at_the_bench); });

  c = command("repaired", "a contact that was marked defective was replaced by a qualified person");
  CLI::Option* of_unit = c->add_option("--unit", w->unit, "this unit's relay");
  c->add_option("--bench", w->bench, "this bench's contactor")->excludes(of_unit);
  with_who(c, w->who);
  c->add_option("--note", w->text, "what was done");
  does(c, [w, &daemon] {
    if (w->unit.empty() && w->bench.empty()) throw CLI::ValidationError("repaired", "name --unit or --bench");
    return w->unit.empty() ? bench_repaired(daemon, w->bench, w->who, w->text) : unit_repaired(daemon, w->unit, w->who, w->text);
  });

  c = command("cautions", "show the cautions; with --accept they are accepted by your name");
  c->add_flag("--accept", w->accepts, "accept them");
  c->add_option("--who", w->who, "your name");
  c->add_option("--bench", w->bench, "the bench's name");
  does(c, [w, &daemon] { return show_cautions(daemon, w->bench, w->who, w->accepts); });

  // ---- telling people, and the morning ----
  CLI::App* notify = app.add_subcommand("notify", "messages to people");
  notify->require_subcommand(1);
  c = notify->add_subcommand("test", "send one message by each route");
  add_bench_options(*c, daemon);
  with_who(c, w->who);
  does(c, [w, &daemon] { return notify_test(daemon, w->who); });

  c = command("incidents", "alarms by cause, who was told, and how the routes are");
  c->add_flag("--json", w->is_json, "as JSON");
  does(c, [w, &daemon] { return incidents(daemon, w->is_json); });

  c = command("seen", "acknowledge an incident with all of its alarms");
  c->add_option("incident", w->incident, "its number")->required();
  with_who(c, w->who);
  c->add_option("--note", w->text, "what you make of it");
  does(c, [w, &daemon] { return acknowledge_incident(daemon, w->incident, w->who, w->text); });

  c = command("morning", "while you slept");
  c->add_flag("--json", w->is_json, "as JSON");
  does(c, [w, &daemon] { return morning(daemon, w->is_json); });

  c = command("tick", "an item of the morning sheet is dealt with");
  c->add_option("id", w->id, "as the sheet shows it")->required();
  with_who(c, w->who);
  does(c, [w, &daemon] { return tick(daemon, w->id, w->who); });
}

}  // namespace steadyglow::app
