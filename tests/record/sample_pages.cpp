#include "record/sample_pages.hpp"

#include <stdexcept>

#include <cairo.h>

#include "record/wiring.hpp"

namespace steadyglow::record_test {
namespace {

constexpr double hour = 3600.0;

record::Wiring usual_wiring(const StoredRun& run) {
  record::Wiring wiring;
  wiring.meters = {{"analog_a", "analog-8ch-int16", "bench_tcp (127.0.0.1:1502)", "A8-00412", "", "2025-11-03", "2026-11-03"}, {"energy_1", "energy-1ph-float32", "bench_tcp (127.0.0.1:1502)", "", "", "", ""},
                   {"rtd_1", "rtd-4ch", "bench_rtu (/dev/serial/by-id/adapter-7)", "R4-0093", "RTD-4 fw 2.1", "2024-12-01", "2025-12-01"}};
  for (const auto& point : run.engine().profile().points) {
    const std::size_t meter = point.is_temperature() ? 2 : point.is_mains() ? 1 : 0;
    wiring.wires.push_back({point.name, meter, "ch" + std::to_string(wiring.wires.size() + 1), 1.0, {}});
  }
  return wiring;
}

Sample finish(std::string name, std::shared_ptr<StoredRun> run) {
  run->event(record::event_kind_wiring, record::to_json_text(usual_wiring(*run)));
  auto figures = run->figures();
  if (!figures) throw std::runtime_error(figures.error().text());
  Sample sample{std::move(name), std::move(run), std::make_shared<record::RunFigures>(std::move(*figures)), {}};
  sample.input.figures = sample.figures.get();
  return sample;
}

soak::Act sign(const std::string& word, const std::string& note = {}) {
  soak::Act act;
  act.kind = soak::ActKind::sign;
  act.who = "Ada Thornbury";
  act.word = word;
  act.why = note;
  return act;
}

record::CardExtract usual_card() {
  record::CardExtract card;
  card.plate = "Brindlecombe Model 35";
  card.nameplate = "230 V, 50 Hz";
  card.stock_number = "S-88";
  card.faults = {"Hum in both channels, one output tube glowed red."};
  card.done = {"Both coupling capacitors of V3 and V4 replaced: they leaked 14 µA at 300 V (Ada, 2026-03-10)", "Bias supply rebuilt: diode, 2 × 100 µF (Ada, 2026-03-10)", "V1 to V4 replaced as a matched four (Ada, 2026-03-11)"};
  card.tubes = {"V1: 25 W pentode no. W-0421, 0 h before", "V2: 25 W pentode no. W-0422, 0 h before"};
  card.safety = {"After repair: earth 0.12 ohm, insulation above 20 megohm, leakage 0.4 mA; tester T-2 (Ada, 2026-03-11)"};
  return card;
}

}  // namespace

record::Photo drawn_photo() {
  constexpr int width = 900, height = 600;
  cairo_surface_t* surface = cairo_image_surface_create(CAIRO_FORMAT_RGB24, width, height);
  cairo_t* to = cairo_create(surface);
  cairo_set_source_rgb(to, 0.80, 0.78, 0.72);
  cairo_paint(to);
  cairo_set_source_rgb(to, 0.25, 0.22, 0.20);
  cairo_rectangle(to, 90, 330, 720, 170);
  cairo_fill(to);
  for (int i = 0; i < 4; ++i) {
    cairo_set_source_rgb(to, 0.9, 0.65, 0.35);
    cairo_rectangle(to, 160 + 150 * i, 150, 70, 180);
    cairo_fill(to);
  }
  std::string png;
  cairo_surface_write_to_png_stream(surface, [](void* out, const unsigned char* bytes, unsigned size) {
    static_cast<std::string*>(out)->append(reinterpret_cast<const char*>(bytes), size);
    return CAIRO_STATUS_SUCCESS;
  }, &png);
  cairo_destroy(to);
  cairo_surface_destroy(surface);
  return {png, "the amplifier from the front", "as it left the bench"};
}

Sample four_points() {
  const std::string profile = head_text() + point_text("v1_cathode_mv", "voltage", "mV", "bias", tube_limits) + point_text("power_transformer_c", "temperature", "Cel", "transformer", "warn = { high = 85.0 }\ntrip = { high = 95.0 }") +
                              point_text("mains_w", "power", "W", "mains_power") + point_text("room_c", "temperature", "Cel", "ambient");
  auto run = std::make_shared<StoredRun>(profile, day_plan);
  const auto room = [](double s) { return 21.0 - 3.0 * std::sin(s / 27000.0); };
  run->point("v1_cathode_mv", [](double s) { return 381.0 * (1.0 - 0.98 * std::exp(-(s + 5.0) / 40.0)) + 4.0 * std::sin(s / 11000.0); }, 0.8);
  run->point("power_transformer_c", tests::thermal(room, tests::hold(34.0), 3600.0), 0.1);
  run->point("mains_w", [](double s) { return 126.0 + 90.0 * std::exp(-s / 8.0); }, 0.4);
  run->point("room_c", room, 0.05);
  run->run_until(26.0 * hour);
  if (run->engine().verdict()) run->act(sign("pass"));
  Sample sample = finish("four", run);
  sample.input.card = usual_card();
  sample.input.photo = {drawn_photo()};
  sample.input.clips = {drawn_photo(), drawn_photo(), drawn_photo()};
  sample.input.short_code = "3f2a-91bc-04de";
  sample.input.key_fingerprint = "77c1-0a3e-5d12-98fb-4410-c2d7-e6a9-1b35";
  return sample;
}

Sample forty_points() {
  std::string profile = head_text("class-ab");
  for (int i = 1; i <= 16; ++i) profile += point_text("q" + std::to_string(i) + "_emitter_resistor_of_the_long_side_mv", "voltage", "mV", "bias", "nominal = 10.0\nwarn = { low = 6.0, high = 15.0 }\ntrip = { high = 30.0 }");
  for (int i = 1; i <= 8; ++i) profile += point_text("heatsink_of_output_stage_" + std::to_string(i) + "_c", "temperature", "Cel", "heatsink", "warn = { high = 60.0 }\ntrip = { high = 75.0 }");
  for (int i = 1; i <= 4; ++i) profile += point_text("offset_" + std::to_string(i) + "_mv", "voltage", "mV", "offset", "warn = { low = -50.0, high = 50.0 }\ntrip = { low = -300.0, high = 300.0 }\nprotective = true");
  for (int i = 1; i <= 8; ++i) profile += point_text("rail_" + std::to_string(i) + "_v", "voltage", "V", "supply", "warn = { low = 39.0, high = 45.0 }");
  profile += point_text("mains_v", "voltage", "V", "mains_voltage") + point_text("mains_w", "power", "W", "mains_power") + point_text("mains_a", "current", "A", "mains_current") + point_text("room_c", "temperature", "Cel", "ambient");
  auto run = std::make_shared<StoredRun>(profile, day_plan);
  run->row.title = "Fennimark 120 in the long cabinet with the walnut sleeve and the second pair of terminals, bought with its preamplifier";
  run->row.serial = "FM-120-000000000000004711-EXPORT-B";
  run->row.unit = "fennimark120";
  const auto room = [](double s) { return 22.0 - 2.0 * std::sin(s / 27000.0); };
  for (const auto& point : run->engine().profile().points) {
    const double own = static_cast<double>(point.name.size() % 7) * 0.01 + static_cast<double>(point.name[1] % 5) * 0.01;
    if (point.role == profile::Role::bias) run->point(point.name, [=](double s) { return (9.8 + own) * (1.0 + 0.1 * std::exp(-s / 1500.0)); }, 0.05);
    if (point.role == profile::Role::heatsink) run->point(point.name, tests::thermal(room, tests::hold(18.0 + 10.0 * own), 2400.0), 0.1);
    if (point.role == profile::Role::offset) run->point(point.name, [=](double s) { return 6.0 + 100.0 * own + std::sin(s / 20000.0); }, 0.3);
    if (point.role == profile::Role::supply) run->point(point.name, tests::hold(42.0 + own), 0.05);
  }
  run->point("mains_v", tests::hold(230.0), 0.3).point("mains_w", tests::hold(61.0), 0.2).point("mains_a", tests::hold(0.27), 0.001).point("room_c", room, 0.05);
  run->run_until(27.0 * hour, 20.0);
  return finish("forty", run);
}

Sample gaps_and_trims() {
  auto run = std::make_shared<StoredRun>(small_amp(), day_plan);
  play_small_amp(*run);
  run->bad("v1_cathode_mv", Quality::no_answer, 3.0 * hour, 3.2 * hour).bad("v1_cathode_mv", Quality::open_sensor, 9.0 * hour, 9.1 * hour);
  run->bad("v2_cathode_mv", Quality::no_answer, 3.0 * hour, 3.2 * hour).bad("power_transformer_c", Quality::open_sensor, 12.0 * hour, 13.0 * hour).bad("b_plus_v", Quality::stale, 15.0 * hour, 15.1 * hour);
  run->bad("mains_w", Quality::refused, 20.0 * hour, 20.4 * hour);
  run->run_until(5.0 * hour);
  soak::Act trim;
  trim.kind = soak::ActKind::touch;
  trim.who = "Ada Thornbury";
  trim.why = "V1 stood a little high";
  trim.points = {"v1_cathode_mv"};
  trim.control = "bias trimmer P1";
  trim.before = 383.0;
  trim.after = 371.0;
  run->act(trim);
  run->point("v1_cathode_mv", [](double s) { return 371.0 + 3.0 * std::sin(s / 9000.0); }, 0.8);
  run->bad("v1_cathode_mv", Quality::open_sensor, 9.0 * hour, 9.1 * hour);
  run->run_until(7.0 * hour);
  trim.points = {"v2_cathode_mv"};
  trim.control = "bias trimmer P2";
  trim.before = 378.0;
  trim.after = 370.0;
  run->act(trim);
  run->point("v2_cathode_mv", [](double s) { return 370.0 + 3.0 * std::sin(s / 9000.0); }, 0.8);
  run->run_until(16.0 * hour);
  soak::Act pause;
  pause.kind = soak::ActKind::pause;
  pause.who = "Ada Thornbury";
  pause.why = "the shop's mains were worked on";
  run->act(pause).run_until(16.8 * hour);
  soak::Act on;
  on.kind = soak::ActKind::go_on;
  on.who = "Ada Thornbury";
  on.why = "the mains are back";
  run->act(on).run_until(36.0 * hour);
  if (run->engine().verdict()) run->act(sign("pass_with_remarks", "both trims were mine, and hold"));
  Sample sample = finish("gaps", run);
  sample.input.card = usual_card();
  sample.input.short_code = "a81c-7710-ee29";
  return sample;
}

Sample failed() {
  auto run = std::make_shared<StoredRun>(small_amp(), day_plan);
  play_small_amp(*run);
  run->point("v2_cathode_mv", tests::doubling([](double s) { return 379.0 * (1.0 - 0.98 * std::exp(-(s + 5.0) / 40.0)); }, 8.7 * hour, 360.0), 0.8);
  run->run_until(10.0 * hour);
  soak::Act seen;
  seen.kind = soak::ActKind::acknowledge;
  seen.who = "Ada Thornbury";
  seen.why = "unplugged; V2 to be replaced, and its coupling capacitor looked at";
  if (!run->engine().book().alarms().empty()) {
    seen.alarm = run->engine().book().alarms().front().id;
    run->act(seen);
  }
  if (run->engine().verdict()) run->act(sign("fail"));
  Sample sample = finish("failed", run);
  sample.input.card = usual_card();
  return sample;
}

std::vector<Sample> mono_pair() {
  std::vector<Sample> pair;
  for (const char* side : {"left", "right"}) {
    auto run = std::make_shared<StoredRun>(small_amp(), day_plan);
    run->row.title = std::string("Wexmere M50, ") + side;
    run->row.serial = std::string("M50-0412") + (side[0] == 'l' ? "L" : "R");
    run->row.unit = std::string("wexmere_") + side[0];
    run->row.id = side[0] == 'l' ? 11 : 12;
    play_small_amp(*run);
    run->run_until(26.0 * hour);
    if (run->engine().verdict()) run->act(sign("pass"));
    pair.push_back(finish(std::string("pair_") + side, run));
    pair.back().input.short_code = side[0] == 'l' ? "5510-aa01-77de" : "09f3-41c2-8b6d";
  }
  pair[0].input.sisters = {{pair[1].figures->run.title, pair[1].figures->run.serial, pair[1].input.short_code}};
  pair[1].input.sisters = {{pair[0].figures->run.title, pair[0].figures->run.serial, pair[0].input.short_code}};
  return pair;
}

Sample twenty_minutes() {
  auto run = std::make_shared<StoredRun>(small_amp(), day_plan);
  play_small_amp(*run);
  run->run_until(1200.0, 2.0);
  soak::Act stop;
  stop.kind = soak::ActKind::stop;
  stop.who = "Ada Thornbury";
  stop.why = "it smelled of hot wax";
  run->act(stop);
  run->run_until(1300.0, 2.0);
  return finish("short", run);
}

std::vector<Sample> all_samples() {
  std::vector<Sample> all{four_points(), forty_points(), gaps_and_trims(), failed(), twenty_minutes()};
  for (Sample& half : mono_pair()) all.push_back(std::move(half));
  return all;
}

}  // namespace steadyglow::record_test
