# Writes a C++ file that holds the files of the page:
#   cmake -DOUTPUT=assets.cpp "-DFILES=a.html|b.css" -P embed.cmake
# The assembler copies the bytes (.incbin), so size costs no compile time. The tag is the content's own hash.
cmake_minimum_required(VERSION 3.25)
string(REPLACE "|" ";" FILES "${FILES}")

set(content_type_html text/html)
set(content_type_css text/css)
set(content_type_js text/javascript)
set(content_type_svg image/svg+xml)

set(entries "")
foreach(file IN LISTS FILES)
  cmake_path(GET file FILENAME name)
  cmake_path(GET file EXTENSION LAST_ONLY extension)
  string(REPLACE "." "" extension "${extension}")
  if(NOT content_type_${extension})
    message(FATAL_ERROR "${file}: no content type is known for .${extension}. hint: add it in dashboards/embed.cmake")
  endif()
  set(path "/assets/${name}")
  if(name STREQUAL "index.html")
    set(path "/")
  endif()
  list(APPEND entries "${path}|${file}|${content_type_${extension}}")
endforeach()
list(SORT entries)

set(blobs "")
set(declarations "")
set(rows "")
set(number 0)
foreach(entry IN LISTS entries)
  string(REPLACE "|" ";" entry "${entry}")
  list(GET entry 0 path)
  list(GET entry 1 file)
  list(GET entry 2 content_type)
  file(SHA256 "${file}" hash)
  string(SUBSTRING "${hash}" 0 32 tag)
  string(APPEND blobs "asm(R\"(.section .rodata\n.balign 16\nsteadyglow_asset_${number}:\n.incbin \"${file}\"\nsteadyglow_asset_${number}_end:\n.byte 0\n.previous)\");\n")
  string(APPEND declarations "extern \"C\" const char steadyglow_asset_${number}[];\nextern \"C\" const char steadyglow_asset_${number}_end[];\n")
  string(APPEND rows "    Asset{\"${path}\", \"${content_type}; charset=utf-8\", body(steadyglow_asset_${number}, steadyglow_asset_${number}_end), \"\\\"${tag}\\\"\"},\n")
  math(EXPR number "${number} + 1")
endforeach()

file(WRITE "${OUTPUT}" "// Written by dashboards/embed.cmake at build time.
#include \"dashboards/assets.hpp\"

#include <algorithm>
#include <array>
#include <cstddef>

${blobs}
${declarations}
namespace steadyglow::dashboards {
namespace {

std::string_view body(const char* begin, const char* end) { return {begin, static_cast<std::size_t>(end - begin)}; }

const std::array<Asset, ${number}>& table() {
  static const std::array<Asset, ${number}> files{
${rows}  };
  return files;
}

}  // namespace

std::span<const Asset> assets() { return table(); }

const Asset* find_asset(std::string_view path) {
  const auto& files = table();
  const auto found = std::find_if(files.begin(), files.end(), [&](const Asset& asset) { return asset.path == path; });
  return found == files.end() ? nullptr : &*found;
}

}  // namespace steadyglow::dashboards
")
