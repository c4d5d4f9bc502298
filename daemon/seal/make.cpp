#include <algorithm>
#include <limits>

#include "profile/profile_toml.hpp"
#include "seal/bounded_json.hpp"
#include "seal/digest.hpp"
#include "seal/engine_words.hpp"
#include "seal/event_lines.hpp"
#include "seal/readings_csv.hpp"
#include "seal/run_file.hpp"
#include "seal/readme.hpp"
#include "seal/seal.hpp"

namespace steadyglow::seal {
namespace {

/// The event in which the daemon says at the start how the meters are wired.
constexpr std::string_view event_kind_wiring = "wiring";

Result<RunFace> face_of(const store::RunRow& run) {
  Errors errors;
  const auto profile = profile::parse_profile(run.profile_text, run.profile_name, errors);
  if (!profile) return fail(Fault::bad_data, "the profile of the run cannot be read by this program: " + (errors.empty() ? "" : errors.front().text()), "seal it with the version that made the run");
  RunFace face{.run = run, .points = {}, .wiring = {}};
  for (const profile::Point& point : profile->points) face.points.push_back({point.name, std::string(to_word(point.quantity)), std::string(point.uom.symbol)});
  const auto same_name = [](const PointFace& point, const std::string& name) { return point.name == name; };
  if (!std::equal(face.points.begin(), face.points.end(), run.points.begin(), run.points.end(), same_name))
    return fail(Fault::bad_data, "the points of the run are not those of its profile", "the store is inconsistent; keep it for salvage");
  return face;
}

void note_outcome(const store::EventRow& event, Manifest& manifest) {
  const auto json = bounded_json(event.json);
  if (!json || !json->is_object()) return;
  // Several engines judged it when the program was renewed during the run: the oldest is named, so that nobody expects the same words.
  if (event.kind == event_kind_engine && json->contains("version") && (*json)["version"].is_number_integer())
    manifest.engine_version = std::min(manifest.engine_version, (*json)["version"].get<std::int64_t>());
  if (event.kind == "verdict") manifest.verdict = json->value("word", std::string());
  if (event.kind != "signature") return;
  manifest.signed_word = json->value("word", std::string());
  manifest.signed_by = json->value("who", std::string());
}

}  // namespace

Result<RunData> gather(store::StoreReader& reader, std::int64_t number) {
  const auto run = reader.run(number);
  if (!run) return tl::unexpected(run.error());
  if (!*run) return fail(Fault::bad_data, "there is no run " + std::to_string(number), "the runs of a store are numbered from 1");
  if ((*run)->state != "ended") return fail(Fault::usage, "run " + std::to_string(number) + " is going on", "seal it when it is over");
  auto face = face_of(**run);
  if (!face) return tl::unexpected(face.error());
  const std::uint64_t damaged_before = reader.damage().rows;
  const auto events = reader.events(number);
  if (!events) return tl::unexpected(events.error());

  RunData data;
  Manifest& manifest = data.manifest;
  manifest.engine_version = engine_version;
  for (const store::EventRow& event : *events) {
    note_outcome(event, manifest);
    if (event.kind == event_kind_wiring) face->wiring = event.json;
  }
  auto file = RunFileWriter::begin(*face);
  if (!file) return tl::unexpected(file.error());
  data.readings = csv_header(*face);
  std::vector<EventLine> lines;
  lines.reserve(events->size());
  auto event = events->begin();
  const auto note_events_before = [&](std::int64_t seq) {
    for (; event != events->end() && event->seq < seq; ++event) lines.push_back({static_cast<std::int64_t>(manifest.inputs), event->at, event->kind, event->json});
  };
  Result<void> written;
  const auto add = [&](const store::InputRow& input) {
    if (!written) return;
    note_events_before(input.seq);
    ++manifest.inputs;
    written = file->add(input);
    if (!written || input.kind != store::input_kind_readings) return;
    manifest.readings += input.readings.size();
    add_csv_row(*face, input, data.readings);
  };
  if (auto read = reader.for_each_input(number, add); !read) return tl::unexpected(read.error());
  if (!written) return tl::unexpected(written.error());
  note_events_before(std::numeric_limits<std::int64_t>::max());
  auto bytes = file->finish();
  if (!bytes) return tl::unexpected(bytes.error());
  auto chained = chain(lines);
  if (!chained) return tl::unexpected(chained.error());
  data.run_file = std::move(*bytes);
  data.events = std::move(chained->text);

  const store::RunRow& row = face->run;
  manifest.program_version = STEADYGLOW_VERSION;
  manifest.run = row.id;
  manifest.unit = row.unit;
  manifest.title = row.title;
  manifest.serial = row.serial;
  manifest.profile = row.profile_name;
  manifest.plan = row.plan_name;
  manifest.started_utc = row.started_utc;
  manifest.ended_utc = row.ended_utc;
  manifest.started_by = row.started_by;
  manifest.events = lines.size();
  manifest.chain_head = chained->head;
  manifest.damaged_rows = reader.damage().rows - damaged_before;
  manifest.code = code_of(sha256_hex(data.events), sha256_hex(data.readings), sha256_hex(data.run_file));
  return data;
}

Result<std::vector<NamedFile>> sealed_files(RunData data, std::vector<NamedFile> pages, const SigningKey& key) {
  std::vector<NamedFile> files = std::move(pages);
  data.manifest.key_fingerprint = key.public_key().fingerprint();
  files.push_back({std::string(events_name), std::move(data.events)});
  files.push_back({std::string(readings_name), std::move(data.readings)});
  files.push_back({std::string(run_file_name), std::move(data.run_file)});
  files.push_back({std::string(key_name), key.public_key().pem()});
  files.push_back({std::string(readme_name), readme(data.manifest)});
  std::sort(files.begin(), files.end(), [](const NamedFile& a, const NamedFile& b) { return a.name < b.name; });
  if (files.size() + 2 > files_max) return fail(Fault::usage, "a record holds at most " + std::to_string(files_max) + " files");
  for (const NamedFile& file : files) {
    if (!is_plain_name(file.name)) return fail(Fault::usage, "a page cannot be called `" + file.name + "`", "letters, digits, dot, dash and underscore, at most " + std::to_string(name_length_max));
    const auto same = [&](const NamedFile& other) { return other.name == file.name; };
    if (std::count_if(files.begin(), files.end(), same) > 1 || file.name == manifest_name || file.name == signature_name) return fail(Fault::usage, "two files of the record would be called `" + file.name + "`", "give the page another name");
    data.manifest.files.push_back({file.name, file.bytes.size(), sha256_hex(file.bytes)});
  }
  std::string manifest = to_json_text(data.manifest);
  if (manifest.size() > manifest_bytes_max) return fail(Fault::usage, "the names in this run are too long for a record");
  std::string signature = key.sign(manifest);
  files.insert(files.begin(), {std::string(signature_name), std::move(signature)});
  files.insert(files.begin(), {std::string(manifest_name), std::move(manifest)});
  return files;
}

Result<Sealed> make(const SealOptions& options) {
  auto reader = store::StoreReader::open(options.store);
  if (!reader) return tl::unexpected(reader.error());
  const auto key = SigningKey::of_store(options.store);
  if (!key) return tl::unexpected(key.error());
  auto data = gather(**reader, options.run);
  if (!data) return tl::unexpected(data.error());
  Sealed sealed{data->manifest.code, key->public_key().fingerprint(), data->manifest.damaged_rows};
  auto files = sealed_files(std::move(*data), options.pages, *key);
  if (!files) return tl::unexpected(files.error());
  if (auto written = write_container(options.out, *files); !written) return tl::unexpected(written.error());
  return sealed;
}

}  // namespace steadyglow::seal
