#include "seal/manifest.hpp"

#include <algorithm>

#include "seal/bounded_json.hpp"
#include "seal/container.hpp"
#include "seal/digest.hpp"

namespace steadyglow::seal {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::string_view what = "the sealed record of a soak run";

tl::unexpected<Error> wrong(const std::string& message) { return fail(Fault::bad_data, message, "", std::string(manifest_name)); }

}  // namespace

const FileDigest* Manifest::find(std::string_view name) const {
  const auto found = std::find_if(files.begin(), files.end(), [&](const FileDigest& file) { return file.name == name; });
  return found == files.end() ? nullptr : &*found;
}

std::string code_of(std::string_view events_sha256, std::string_view readings_sha256, std::string_view run_file_sha256) {
  std::string lines;
  for (const auto& [digest, name] : {std::pair(events_sha256, events_name), std::pair(readings_sha256, readings_name), std::pair(run_file_sha256, run_file_name)}) {
    lines += digest;
    lines += "  ";
    lines += name;
    lines += '\n';
  }
  return in_groups(sha256_hex(lines), code_digits);
}

std::string to_json_text(const Manifest& m) {
  Json json;
  json["what"] = what;
  json["format"] = m.format;
  json["program_version"] = m.program_version;
  json["engine_version"] = m.engine_version;
  json["run"] = {{"number", m.run},       {"unit", m.unit},         {"title", m.title},         {"serial", m.serial}, {"profile", m.profile},
                 {"plan", m.plan},        {"started_utc", m.started_utc}, {"ended_utc", m.ended_utc}, {"started_by", m.started_by}};
  json["verdict"] = {{"proposed", m.verdict}, {"signed", m.signed_word}, {"signed_by", m.signed_by}};
  json["inputs"] = m.inputs;
  json["readings"] = m.readings;
  json["events"] = m.events;
  json["chain_head"] = m.chain_head;
  json["damaged_rows"] = m.damaged_rows;
  json["code"] = m.code;
  json["key_fingerprint"] = m.key_fingerprint;
  json["files"] = Json::array();
  for (const FileDigest& file : m.files) json["files"].push_back({{"name", file.name}, {"bytes", file.bytes}, {"sha256", file.sha256}});
  return json.dump(1, ' ', false, Json::error_handler_t::replace) + "\n";
}

Result<Manifest> read_manifest(std::string_view text) {
  const auto json = bounded_json(text, manifest_bytes_max);
  if (!json) return wrong(json.error().message);
  Manifest m;
  try {
    if (json->at("what").get<std::string>() != what) return wrong("this is no manifest of a sealed record");
    m.format = json->at("format").get<std::int64_t>();
    if (m.format < 1) return wrong("a format " + std::to_string(m.format) + " never was");
    if (m.format > format_newest) return fail(Fault::config, "the record has format " + std::to_string(m.format) + "; this program knows them up to " + std::to_string(format_newest), "check it with a newer version of the program", std::string(manifest_name));
    m.program_version = json->at("program_version").get<std::string>();
    m.engine_version = json->at("engine_version").get<std::int64_t>();
    const Json& run = json->at("run");
    m.run = run.at("number").get<std::int64_t>();
    m.unit = run.at("unit").get<std::string>();
    m.title = run.at("title").get<std::string>();
    m.serial = run.at("serial").get<std::string>();
    m.profile = run.at("profile").get<std::string>();
    m.plan = run.at("plan").get<std::string>();
    m.started_utc = run.at("started_utc").get<std::string>();
    m.ended_utc = run.at("ended_utc").get<std::string>();
    m.started_by = run.at("started_by").get<std::string>();
    const Json& verdict = json->at("verdict");
    m.verdict = verdict.at("proposed").get<std::string>();
    m.signed_word = verdict.at("signed").get<std::string>();
    m.signed_by = verdict.at("signed_by").get<std::string>();
    m.inputs = json->at("inputs").get<std::uint64_t>();
    m.readings = json->at("readings").get<std::uint64_t>();
    m.events = json->at("events").get<std::uint64_t>();
    m.chain_head = json->at("chain_head").get<std::string>();
    m.damaged_rows = json->at("damaged_rows").get<std::uint64_t>();
    m.code = json->at("code").get<std::string>();
    m.key_fingerprint = json->at("key_fingerprint").get<std::string>();
    for (const Json& file : json->at("files")) {
      m.files.push_back({file.at("name").get<std::string>(), file.at("bytes").get<std::uint64_t>(), file.at("sha256").get<std::string>()});
      const FileDigest& one = m.files.back();
      if (!is_plain_name(one.name) || one.name == manifest_name || one.name == signature_name || one.sha256.size() != digest_hex_length) return wrong("its list of files cannot be");
      if (m.files.size() > 1 && m.files[m.files.size() - 2].name >= one.name) return wrong("its list of files is not in order");
      if (m.files.size() > files_max) return wrong("it lists more than " + std::to_string(files_max) + " files");
    }
  } catch (const nlohmann::json::exception& error) {
    return wrong(std::string("it lacks something: ") + error.what());
  }
  // One meaning only: no key twice, none that this format does not have.
  if (to_json_text(m) != text) return wrong("it is not written as its format says");
  return m;
}

}  // namespace steadyglow::seal
