#include "app/store_folder.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <optional>

#include "app/bench_clock.hpp"
#include "app/hashed_file.hpp"
#include "app/text_file.hpp"
#include "seal/bounded_json.hpp"
#include "seal/key.hpp"
#include "store/file_lock.hpp"

namespace steadyglow::app {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;

constexpr std::size_t contents_bytes_max = std::size_t{16} << 20;
constexpr std::size_t sha256_digits = 64;

std::string photos_of(const std::string& store) { return store + ".photos"; }

/// What is made on the way goes away again unless it is kept.
class Unfinished {
 public:
  explicit Unfinished(std::string path) : path_(std::move(path)) { remove(); }
  ~Unfinished() {
    if (!is_kept_) remove();
  }
  Unfinished(const Unfinished&) = delete;
  Unfinished& operator=(const Unfinished&) = delete;
  const std::string& path() const { return path_; }
  Result<void> keep_as(const std::string& name) {
    std::error_code code;
    fs::rename(path_, name, code);
    if (code) return fail(Fault::cannot_create, code.message(), "may this account write in the folder?", name);
    is_kept_ = true;
    return {};
  }

 private:
  void remove() const {
    std::error_code code;
    fs::remove_all(path_, code);
  }
  std::string path_;
  bool is_kept_ = false;
};

/// A file or folder onto the disk: a copy that a power cut takes is none.
Result<void> sync(const std::string& path) {
  const int fd = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd < 0) return fail(Fault::io, "cannot be opened again", "", path);
  const int done = ::fsync(fd);
  ::close(fd);
  if (done != 0) return fail(Fault::io, "did not reach the disk", "look at the disk or card (journalctl -k)", path);
  return {};
}

Result<void> copy_file(const std::string& from, const std::string& to) {
  std::error_code code;
  fs::copy_file(from, to, code);
  if (code) return fail(code == std::errc::permission_denied ? Fault::permission : Fault::io, code.message(), "is there room on the disk, and may this account read and write here?", from);
  return sync(to);
}

Result<void> make_folder(const std::string& folder) {
  std::error_code code;
  fs::create_directory(folder, code);
  if (code) return fail(Fault::cannot_create, code.message(), "does the folder above it exist, and may this account write in it?", folder);
  return {};
}

/// Names of the plain files of a folder, sorted; none when there is no such folder.
Result<std::vector<std::string>> plain_files(const std::string& folder) {
  std::vector<std::string> names;
  std::error_code code;
  if (!fs::exists(folder, code)) return names;
  fs::directory_iterator entries(folder, code);
  const fs::directory_iterator end;
  for (; !code && entries != end; entries.increment(code))
    if (entries->symlink_status(code).type() == fs::file_type::regular) names.push_back(entries->path().filename().string());
  if (code) return fail(Fault::io, code.message(), "", folder);
  std::sort(names.begin(), names.end());
  return names;
}

std::uint64_t size_of(const std::string& file) {
  std::error_code code;
  const auto size = fs::file_size(file, code);
  return code ? 0 : size;
}

Result<Json> listed(const std::string& folder, const std::string& name) {
  const auto sum = sha256_of_file(folder + "/" + name);
  if (!sum) return tl::unexpected(sum.error());
  return Json{{"file", name}, {"bytes", size_of(folder + "/" + name)}, {"sha256", *sum}};
}

Result<void> copy_photos(const std::string& from, const std::string& to, FolderReport& report, Json& files, const store::Progress& progress) {
  const auto names = plain_files(from);
  if (!names) return tl::unexpected(names.error());
  if (names->empty()) return {};
  if (auto made = make_folder(to + "/" + folder_photos_name); !made) return made;
  for (const std::string& name : *names) {
    if (progress) progress("photos", static_cast<double>(report.photos) / static_cast<double>(names->size()));
    if (auto copied = copy_file(from + "/" + name, to + "/" + folder_photos_name + "/" + name); !copied) return copied;
    auto entry = listed(to, std::string(folder_photos_name) + "/" + name);
    if (!entry) return tl::unexpected(entry.error());
    if (name.substr(0, sha256_digits) != (*entry)["sha256"].get<std::string>()) report.doubts.push_back(fmt::format("photo {} is not what its name says: it was changed or damaged", name));
    files.push_back(std::move(*entry));
    ++report.photos;
  }
  return sync(to + "/" + folder_photos_name);
}

void note_damage(FolderReport& report) {
  for (const std::string& told : report.check.damage.told) report.doubts.push_back(told);
  if (report.check.damage.rows > report.check.damage.told.size()) report.doubts.push_back(fmt::format("{} damaged rows in all", report.check.damage.rows));
}

Result<void> write_text(const std::string& file, const std::string& text) {
  std::ofstream out(file, std::ios::binary);
  out << text;
  out.close();
  if (!out) return fail(Fault::io, "could not be written to its end", "is the disk full?", file);
  return sync(file);
}

Json not_in_it(bool has_key) {
  Json left = {"the configuration with its profiles, plans and instruments", "passwords, tokens and certificates", "the lock of the running daemon", "files that were set aside as damaged"};
  if (!has_key) left.push_back("the key that signs records");
  return left;
}

/// Names as contents.json may give them: what we write, and nothing that leads out of the folder.
bool is_expected_name(const std::string& name) {
  if (name == folder_store_name || name == folder_key_name) return true;
  const std::string photos = std::string(folder_photos_name) + "/";
  return name.starts_with(photos) && name.size() > photos.size() && name.find('/', photos.size()) == std::string::npos && name != photos + "." && name != photos + "..";
}

struct Contents {
  std::vector<std::string> files;
  bool has_key = false;
};

tl::unexpected<Error> no_backup(const std::string& where, std::string why) { return fail(Fault::bad_data, std::move(why), "name a folder that `steadyglow backup` made", where); }

/// Every file that is named, against its sum; and nothing else in the folder.
Result<Contents> check_contents(const std::string& folder, const store::Progress& progress) {
  const std::string file = folder + "/" + folder_contents_name;
  const auto text = read_text_file(file, contents_bytes_max);
  if (!text) return no_backup(file, "the list of what is in it cannot be read");
  const auto json = seal::bounded_json(*text, contents_bytes_max);
  if (!json || !json->is_object() || !json->contains("what") || (*json)["what"] != "steadyglow backup") return no_backup(file, "this is no list of a backup");
  if (!json->contains("format") || (*json)["format"] != folder_format) return fail(Fault::config, fmt::format("the backup has another format than {}", folder_format), "use the version of the program that made it", file);
  const auto files = json->find("files");
  if (files == json->end() || !files->is_array()) return no_backup(file, "it names no files");
  Contents contents;
  for (const Json& entry : *files) {
    const auto text_of = [&](const char* field) { return entry.is_object() && entry.contains(field) && entry[field].is_string() ? entry[field].get<std::string>() : std::string(); };
    const std::string name = text_of("file");
    if (!is_expected_name(name)) return no_backup(file, "it names a file that does not belong into a backup");
    const std::string path = folder + "/" + name;
    std::error_code code;
    if (fs::symlink_status(path, code).type() != fs::file_type::regular) return fail(Fault::bad_data, "is missing or no plain file", "the backup is not whole; use another", path);
    if (progress) progress("sums", static_cast<double>(contents.files.size()) / static_cast<double>(files->size()));
    const auto sum = sha256_of_file(path);
    if (!sum) return tl::unexpected(sum.error());
    if (*sum != text_of("sha256")) return fail(Fault::bad_data, "was changed or damaged since the backup was made", "use another backup; nothing was put in place", path);
    contents.has_key |= name == folder_key_name;
    contents.files.push_back(name);
  }
  if (std::find(contents.files.begin(), contents.files.end(), folder_store_name) == contents.files.end()) return no_backup(file, "there is no store in it");
  return contents;
}

Result<void> refuse_over(const std::string& store) {
  for (const std::string& path : {store, store + "-wal", store + "-shm", photos_of(store)}) {
    std::error_code code;
    if (fs::exists(fs::symlink_status(path, code))) return fail(Fault::cannot_create, "this is there already", "a store is never written over: name a new one, or move the old one with all that lies beside it", path);
  }
  return {};
}

/// The key that is there stays, unless it is the same one.
Result<bool> is_key_wanted(const std::string& folder, const std::string& key) {
  std::error_code code;
  if (!fs::exists(fs::symlink_status(key, code))) return true;
  const auto ours = sha256_of_file(key);
  const auto theirs = sha256_of_file(folder + "/" + folder_key_name);
  if (ours && theirs && *ours == *theirs) return false;
  return fail(Fault::cannot_create, "another key is there already", "records are signed with it: move it away first, if that is meant", key);
}

}  // namespace

Result<FolderReport> back_up(const BackupOptions& options) {
  std::error_code code;
  if (fs::exists(fs::symlink_status(options.out, code))) return fail(Fault::cannot_create, "this is there already", "name a new folder: a backup is never written over", options.out);
  Unfinished folder(options.out + ".unfinished");
  if (auto made = make_folder(folder.path()); !made) return tl::unexpected(made.error());
  fs::permissions(folder.path(), fs::perms::owner_all, code);

  FolderReport report;
  Json files = Json::array();
  const std::string copy = folder.path() + "/" + folder_store_name;
  if (auto copied = store::copy_store(options.store, copy, options.progress); !copied) return tl::unexpected(copied.error());
  if (auto synced = sync(copy); !synced) return tl::unexpected(synced.error());
  auto check = store::check_store(copy, options.progress);
  if (!check) return tl::unexpected(check.error());
  report.check = std::move(*check);
  report.store_bytes = size_of(copy);
  note_damage(report);
  auto entry = listed(folder.path(), folder_store_name);
  if (!entry) return tl::unexpected(entry.error());
  files.push_back(std::move(*entry));
  // After the store: a photo lies there before the row that names it.
  if (auto copied = copy_photos(photos_of(options.store), folder.path(), report, files, options.progress); !copied) return tl::unexpected(copied.error());
  const std::string key = seal::key_file_of(options.store);
  if (options.has_key && !fs::exists(key, code)) return fail(Fault::bad_data, "there is no key yet", "the first sealed record makes it; leave --with-key away until then", key);
  if (options.has_key) {
    if (auto copied = copy_file(key, folder.path() + "/" + folder_key_name); !copied) return tl::unexpected(copied.error());
    auto key_entry = listed(folder.path(), folder_key_name);
    if (!key_entry) return tl::unexpected(key_entry.error());
    files.push_back(std::move(*key_entry));
    report.has_key = true;
  }
  const Json contents = {{"what", "steadyglow backup"}, {"format", folder_format}, {"made_utc", utc_label(utc_now_ms())}, {"runs", report.check.runs}, {"runs_going_on", report.check.running},
                         {"files", std::move(files)}, {"not_in_it", not_in_it(report.has_key)}};
  if (auto written = write_text(folder.path() + "/" + folder_contents_name, contents.dump(2) + "\n"); !written) return tl::unexpected(written.error());
  if (auto synced = sync(folder.path()); !synced) return tl::unexpected(synced.error());
  if (auto kept = folder.keep_as(options.out); !kept) return tl::unexpected(kept.error());
  return report;
}

Result<FolderReport> restore(const std::string& folder, const std::string& store, const store::Progress& progress) {
  if (auto free = refuse_over(store); !free) return tl::unexpected(free.error());
  const auto contents = check_contents(folder, progress);
  if (!contents) return tl::unexpected(contents.error());
  const std::string key = seal::key_file_of(store);
  bool wants_key = false;
  if (contents->has_key) {
    const auto wanted = is_key_wanted(folder, key);
    if (!wanted) return tl::unexpected(wanted.error());
    wants_key = *wanted;
  }
  auto lock = store::FileLock::take(store + ".lock");
  if (!lock) return tl::unexpected(lock.error());

  FolderReport report;
  Unfinished copy(store + ".unfinished");
  Unfinished photos(photos_of(store) + ".unfinished");
  Unfinished key_copy(key + ".unfinished");
  for (const std::string& name : contents->files) {
    const bool is_store = name == folder_store_name;
    const bool is_key = name == folder_key_name;
    if (is_key && !wants_key) continue;
    if (!is_store && !is_key && report.photos++ == 0)
      if (auto made = make_folder(photos.path()); !made) return tl::unexpected(made.error());
    const std::string to = is_store ? copy.path() : is_key ? key_copy.path() : photos.path() + "/" + fs::path(name).filename().string();
    if (auto copied = copy_file(folder + "/" + name, to); !copied) return tl::unexpected(copied.error());
  }
  auto check = store::check_store(copy.path(), progress);
  if (!check) return tl::unexpected(check.error());
  report.check = std::move(*check);
  report.store_bytes = size_of(copy.path());
  note_damage(report);
  std::error_code code;
  if (wants_key) {
    fs::permissions(key_copy.path(), fs::perms::owner_read | fs::perms::owner_write, code);
    if (auto kept = key_copy.keep_as(key); !kept) return tl::unexpected(kept.error());
    report.has_key = true;
  }
  if (report.photos > 0)
    if (auto kept = photos.keep_as(photos_of(store)); !kept) return tl::unexpected(kept.error());
  if (auto kept = copy.keep_as(store); !kept) return tl::unexpected(kept.error());
  const fs::path above = fs::absolute(store, code).parent_path();
  if (auto synced = sync(above.string()); !synced) return tl::unexpected(synced.error());
  return report;
}

}  // namespace steadyglow::app
