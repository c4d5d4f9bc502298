#include <algorithm>

#include "seal/derive.hpp"
#include "seal/digest.hpp"
#include "seal/engine_words.hpp"
#include "seal/readings_csv.hpp"
#include "seal/run_file.hpp"
#include "seal/seal.hpp"

namespace steadyglow::seal {
namespace {

std::string quoted(std::string_view text) { return text.empty() ? "nothing" : "`" + std::string(text) + "`"; }

/// Holds readings.csv against what run.sqlite says it must be, without writing it a second time in memory.
class CsvCheck {
 public:
  CsvCheck(const RunFace& face, std::string_view csv) : face_(face), csv_(csv) { expect(csv_header(face)); }
  void add(const store::InputRow& input) {
    if (input.kind != store::input_kind_readings || !difference_.empty()) return;
    row_.clear();
    add_csv_row(face_, input, row_);
    expect(row_);
  }
  void end() {
    if (difference_.empty() && at_ < csv_.size()) tell(at_, csv_.size() - 1, "goes on where run.sqlite has no more readings");
  }
  const std::string& difference() const { return difference_; }

 private:
  void expect(std::string_view text) {
    const std::string_view there = csv_.substr(at_, text.size());
    if (there == text) {
      at_ += text.size();
      lines_ += static_cast<std::size_t>(std::count(text.begin(), text.end(), '\n'));
      return;
    }
    const auto first = static_cast<std::size_t>(std::mismatch(there.begin(), there.end(), text.begin(), text.end()).first - there.begin());
    if (first == there.size()) return tell(at_ + first, at_ + first, "ends, and run.sqlite has more readings");
    tell(at_ + first, at_ + there.size() - 1, "is not what run.sqlite says");
  }
  void tell(std::size_t from, std::size_t to, const char* what) {
    difference_ = std::string(readings_name) + ":" + std::to_string(lines_ + 1) + ": the row " + what + " (bytes " + std::to_string(from) + " to " + std::to_string(to) + ")";
  }

  const RunFace& face_;
  std::string_view csv_;
  std::size_t at_ = 0;
  std::size_t lines_ = 0;
  std::string row_;
  std::string difference_;
};

class Check {
 public:
  Check(Container& container, const CheckOptions& options) : container_(container), options_(options) {}

  Result<Report> run() {
    if (!container_.changed().empty()) differs(container_.changed());
    auto begun = take_manifest();
    if (!begun) return tl::unexpected(begun.error());
    if (!has_manifest_) return report_;
    compare_lists();
    read_files();
    const bool are_data_whole = take_data();
    // The engine is not asked about readings that are known to be others.
    if (are_data_whole && has_same_digests_) retell();
    return report_;
  }

 private:
  void differs(std::string text) { report_.differences.push_back(std::move(text)); }
  void progress(std::string_view step, double share) const {
    if (options_.progress) options_.progress(step, share);
  }

  /// A small file, or nothing when it is missing or cannot be read.
  std::optional<std::string> small(std::string_view name) {
    const ListedFile* file = container_.find(name);
    if (file == nullptr) return std::nullopt;
    if (file->bytes > manifest_bytes_max) return std::nullopt;
    auto bytes = container_.read(*file);
    if (bytes) return std::move(*bytes);
    differs(bytes.error().text());
    return std::nullopt;
  }

  Result<void> take_manifest() {
    const ListedFile* listed = container_.find(manifest_name);
    if (listed == nullptr) return fail(Fault::bad_data, "there is no " + std::string(manifest_name), "this is no sealed record");
    if (listed->bytes > manifest_bytes_max) return fail(Fault::bad_data, std::string(manifest_name) + " claims " + std::to_string(listed->bytes) + " bytes", "no manifest is that large; nothing of it was read");
    const auto text = small(manifest_name);
    const auto signature = small(signature_name);
    const auto pem = small(key_name);
    if (!signature && container_.find(signature_name) == nullptr) differs(std::string(signature_name) + " is missing: nobody has signed this");
    if (!pem && container_.find(key_name) == nullptr) differs(std::string(key_name) + " is missing");
    const auto key = pem ? public_key_from_pem(*pem) : Result<PublicKey>(fail(Fault::bad_data, ""));
    if (pem && !key) differs(std::string(key_name) + ": " + key.error().message);
    if (text && signature && key) {
      if (key->has_signed(*text, *signature)) report_.signed_by = key->fingerprint();
      else differs(std::string(signature_name) + ": the signature does not fit " + std::string(manifest_name) + " and " + std::string(key_name) + ": one of the three was changed after the sealing");
    }
    if (key && !options_.fingerprint.empty() && key->fingerprint() != options_.fingerprint)
      differs("signed by the key " + key->fingerprint() + ", not by " + options_.fingerprint + ": somebody else has sealed this");
    if (!text) return {};
    auto manifest = read_manifest(*text);
    if (!manifest && report_.differences.empty()) return tl::unexpected(manifest.error());
    if (!manifest) {
      differs(manifest.error().text());
      return {};
    }
    report_.manifest = std::move(*manifest);
    has_manifest_ = true;
    if (key && report_.manifest.key_fingerprint != key->fingerprint()) differs(std::string(manifest_name) + ": it names the key " + report_.manifest.key_fingerprint + ", and " + std::string(key_name) + " is " + key->fingerprint());
    return {};
  }

  void compare_lists() {
    for (const FileDigest& file : report_.manifest.files) {
      const ListedFile* there = container_.find(file.name);
      if (there == nullptr) differs(file.name + " is missing");
      else if (there->bytes != file.bytes) differs(file.name + " has " + std::to_string(there->bytes) + " bytes, the manifest says " + std::to_string(file.bytes));
    }
    for (const ListedFile& file : container_.files())
      if (file.name != manifest_name && file.name != signature_name && report_.manifest.find(file.name) == nullptr) differs(file.name + " is not in the manifest: it was put in");
    for (const std::string_view name : {events_name, readings_name, run_file_name, key_name, readme_name})
      if (report_.manifest.find(name) == nullptr) differs(std::string(manifest_name) + ": it does not list " + std::string(name));
  }

  void read_files() {
    std::uint64_t done = 0;
    std::uint64_t all = 1;
    for (const FileDigest& file : report_.manifest.files) all += file.bytes;
    for (const FileDigest& file : report_.manifest.files) {
      progress("digests", static_cast<double>(done) / static_cast<double>(all));
      done += file.bytes;
      const ListedFile* there = container_.find(file.name);
      // A file that is larger than the manifest says is not unpacked.
      if (there == nullptr || there->bytes > file.bytes) {
        has_same_digests_ = false;
        continue;
      }
      auto bytes = container_.read(*there);
      if (!bytes) {
        has_same_digests_ = false;
        differs(bytes.error().text());
        continue;
      }
      if (sha256_hex(*bytes) != file.sha256) {
        has_same_digests_ = false;
        if (there->bytes == file.bytes) differs(file.name + ": its SHA-256 is not the one in the manifest: it was changed");
      }
      if (file.name == events_name) events_text_ = std::move(*bytes);
      else if (file.name == readings_name) csv_ = std::move(*bytes);
      else if (file.name == run_file_name) run_file_ = std::move(*bytes);
    }
  }

  bool take_data() {
    const Manifest& manifest = report_.manifest;
    if (!events_text_ || !csv_ || !run_file_) return false;
    auto lines = read_chain(*events_text_);
    if (!lines) {
      differs(lines.error().text());
      return false;
    }
    for (std::string& broken : lines->broken) differs(std::move(broken));
    events_ = std::move(lines->events);
    report_.events = events_.size();
    if (lines->head != manifest.chain_head) differs(std::string(events_name) + ": its chain ends in " + lines->head.substr(0, 16) + "..., the manifest says " + manifest.chain_head.substr(0, 16) + "...: its end was changed, or events are missing there");
    if (events_.size() != manifest.events) differs(std::string(events_name) + ": it has " + std::to_string(events_.size()) + " events, the manifest says " + std::to_string(manifest.events));
    if (has_same_digests_) {
      const auto sha = [&](std::string_view name) { return manifest.find(name)->sha256; };
      if (manifest.code != code_of(sha(events_name), sha(readings_name), sha(run_file_name))) differs(std::string(manifest_name) + ": its code is not that of its data");
    }
    // Where a reading was changed can be said as long as the other file of the readings is whole.
    if (!has_same_digests_ && sha256_hex(*run_file_) != manifest.find(run_file_name)->sha256) return false;
    auto file = RunFileReader::open(*run_file_);
    if (!file) {
      differs(file.error().text());
      return false;
    }
    file_.emplace(std::move(*file));
    compare_face();
    if (has_same_digests_) return true;
    if (sha256_hex(*csv_) != manifest.find(readings_name)->sha256) {
      CsvCheck csv(file_->face(), *csv_);
      if (file_->for_each_input([&](const store::InputRow& input) { csv.add(input); })) csv.end();
      if (!csv.difference().empty()) differs(csv.difference());
    }
    return true;
  }

  void compare_face() {
    const Manifest& m = report_.manifest;
    const store::RunRow& run = file_->face().run;
    const auto same = [&](const char* name, const std::string& a, const std::string& b) {
      if (a != b) differs(std::string(manifest_name) + ": " + name + " is " + quoted(a) + ", and " + std::string(run_file_name) + " says " + quoted(b));
    };
    same("run", std::to_string(m.run), std::to_string(run.id));
    same("unit", m.unit, run.unit);
    same("title", m.title, run.title);
    same("serial", m.serial, run.serial);
    same("profile", m.profile, run.profile_name);
    same("plan", m.plan, run.plan_name);
    same("started_utc", m.started_utc, run.started_utc);
    same("ended_utc", m.ended_utc, run.ended_utc);
    same("started_by", m.started_by, run.started_by);
    std::string wiring;
    for (const EventLine& event : events_)
      if (event.kind == "wiring") wiring = event.json;
    if (wiring != file_->face().wiring) differs(std::string(run_file_name) + ": its wiring is not the one in " + std::string(events_name));
  }

  void retell() {
    CsvCheck csv(file_->face(), *csv_);
    std::uint64_t inputs = 0;
    const auto each = [&](const store::InputRow& input) {
      if (++inputs % 4096 == 0) progress("readings", static_cast<double>(inputs) / static_cast<double>(std::max<std::uint64_t>(1, report_.manifest.inputs)));
      report_.readings += input.readings.size();
      csv.add(input);
    };
    const auto derived = derive(*file_, events_, each);
    if (!derived) return differs(derived.error().text());
    csv.end();
    report_.was_retold = true;
    if (!csv.difference().empty()) differs(csv.difference());
    const Manifest& m = report_.manifest;
    if (inputs != m.inputs) differs(std::string(run_file_name) + ": it has " + std::to_string(inputs) + " inputs, the manifest says " + std::to_string(m.inputs));
    if (report_.readings != m.readings) differs(std::string(run_file_name) + ": it has " + std::to_string(report_.readings) + " readings, the manifest says " + std::to_string(m.readings));
    for (const std::string& text : derived->unread) differs(std::string(run_file_name) + ": " + text);
    remark_on_the_store();

    Compared compared = compare(events_, *derived);
    const auto same = [&](const char* what, const std::string& sealed, const std::string& said) {
      if (sealed != said) compared.differences.push_back(std::string(manifest_name) + ": the " + what + " is " + quoted(sealed) + ", the engine says " + quoted(said));
    };
    same("verdict", m.verdict, derived->verdict);
    same("word that was signed", m.signed_word, derived->signed_word);
    same("person who signed", m.signed_by, derived->signed_by);
    report_.is_another_engine = m.engine_version != engine_version;
    std::vector<std::string>& into = report_.is_another_engine ? report_.remarks : report_.differences;
    if (report_.is_another_engine)
      report_.remarks.push_back("the run was judged by engine " + std::to_string(m.engine_version) + "; its findings were derived again by engine " + std::to_string(engine_version) + ", which says " +
                                (compared.differences.empty() ? "the same" : "other things in " + std::to_string(compared.differences.size()) + " places. That is no sign of forgery:"));
    into.insert(into.end(), compared.differences.begin(), compared.differences.end());
    report_.remarks.insert(report_.remarks.end(), compared.remarks.begin(), compared.remarks.end());
  }

  void remark_on_the_store() {
    const Manifest& m = report_.manifest;
    if (m.damaged_rows > 0) report_.remarks.push_back("the record says that " + std::to_string(m.damaged_rows) + " damaged rows of the shop's store were left out of it");
    for (const EventLine& event : events_)
      if (event.kind == event_kind_imported) report_.remarks.push_back("the record says that the run was brought in from a file: no meter of this program took its readings");
    for (const EventLine& event : events_)
      if (event.kind == store::event_kind_not_stored) report_.remarks.push_back("the record says that readings could not be stored at the time, so that the run cannot be told again exactly: " + event.json);
  }

  Container& container_;
  const CheckOptions& options_;
  Report report_;
  bool has_manifest_ = false;
  bool has_same_digests_ = true;
  std::optional<std::string> events_text_, csv_, run_file_;
  std::vector<EventLine> events_;
  std::optional<RunFileReader> file_;
};

}  // namespace

Result<Report> check(const std::string& path, const CheckOptions& options) {
  auto container = Container::open(path);
  if (!container) return tl::unexpected(container.error());
  auto report = Check(**container, options).run();
  if (report || !report.error().where.empty()) return report;
  Error error = report.error();
  error.where = path;
  return tl::unexpected(error);
}

}  // namespace steadyglow::seal
