#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <string>

#include "record/page_input.hpp"
#include "record/paint.hpp"

namespace steadyglow::record {

Result<PageInput> with_small_photos(PageInput input);

namespace {

constexpr double chart_width = 680.0;
constexpr double half_chart_width = 400.0;

/// Text that cannot be taken for markup, whatever a person typed; what is no UTF-8 is made visible.
std::string escaped(const std::string& text) {
  const std::unique_ptr<char, Freed<g_free>> valid(g_utf8_make_valid(text.data(), static_cast<gssize>(text.size())));
  std::string out;
  for (const char* c = valid.get(); *c != '\0'; ++c) {
    switch (*c) {
      case '&': out += "&amp;"; break;
      case '<': out += "&lt;"; break;
      case '>': out += "&gt;"; break;
      case '"': out += "&quot;"; break;
      case '\'': out += "&#39;"; break;
      default: out += static_cast<unsigned char>(*c) < 0x20 && *c != '\n' && *c != '\t' ? ' ' : *c;
    }
  }
  return out;
}

std::string with_breaks(const std::string& text) {
  std::string out;
  for (const char c : escaped(text)) out += c == '\n' ? std::string("<br>") : std::string(1, c);
  return out;
}

std::string base64(const std::string& bytes) {
  const std::unique_ptr<char, Freed<g_free>> text(g_base64_encode(reinterpret_cast<const guchar*>(bytes.data()), bytes.size()));
  return text.get();
}

constexpr std::array<const char*, ink_count> ink_classes{"text", "soft", "line", "band", "ground", "first", "second", "third", "fourth", "warn", "trip"};
const char* class_of(Ink ink) { return ink_classes[static_cast<std::size_t>(ink)]; }

/// A drawing as SVG; its hatches are lines of its own, so that no two drawings of a page share a name.
class Svg {
 public:
  explicit Svg(const Drawing& drawing, const std::string& alt) {
    out_ = fmt::format("<svg viewBox=\"0 0 {:.1f} {:.1f}\" role=\"img\" aria-label=\"{}\">", drawing.width, drawing.height, escaped(alt));
    for (const Shape& shape : drawing.shapes) std::visit(*this, shape);
    out_ += "</svg>";
  }
  std::string text() && { return std::move(out_); }

  void operator()(const Stroke& stroke) {
    if (stroke.spots.size() < 2) return;
    out_ += fmt::format("<polyline class=\"s {}\" stroke-width=\"{:.2g}\"", class_of(stroke.ink), stroke.width);
    if (!stroke.dash.empty()) {
      out_ += " stroke-dasharray=\"";
      for (std::size_t i = 0; i < stroke.dash.size(); ++i) out_ += fmt::format("{}{:.2g}", i == 0 ? "" : " ", stroke.dash[i]);
      out_ += "\"";
    }
    spots(stroke.spots);
  }
  void operator()(const Area& area) {
    if (area.spots.size() < 3) return;
    out_ += fmt::format("<polygon class=\"a {}\" fill-opacity=\"{:.2g}\"", class_of(area.ink), area.share);
    spots(area.spots);
  }
  void operator()(const Hatch& hatch) {
    out_ += fmt::format("<svg x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\" viewBox=\"{:.1f} {:.1f} {:.1f} {:.1f}\"><rect class=\"a ground\" x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\"/><path class=\"s soft\" stroke-width=\"0.5\" d=\"",
                        hatch.x, hatch.y, hatch.width, hatch.height, hatch.x, hatch.y, hatch.width, hatch.height, hatch.x, hatch.y, hatch.width, hatch.height);
    for (double at = std::floor((hatch.x - hatch.height) / hatch_pitch) * hatch_pitch; at < hatch.x + hatch.width; at += hatch_pitch) {
      out_ += fmt::format("M{:.1f} {:.1f}l{:.1f} {:.1f}", at, hatch.y + hatch.height, hatch.height, -hatch.height);
      if (hatch.is_crossed) out_ += fmt::format("M{:.1f} {:.1f}l{:.1f} {:.1f}", at, hatch.y, hatch.height, hatch.height);
    }
    out_ += "\"/></svg>";
  }
  void operator()(const Words& words) {
    static constexpr std::array anchors{"start", "middle", "end"};
    const std::string text = escaped(words.text);
    const std::string common = fmt::format("x=\"{:.1f}\" y=\"{:.1f}\" font-size=\"{:.1f}\" text-anchor=\"{}\"{}", words.x, words.y, words.size, anchors[static_cast<std::size_t>(words.anchor)],
                                           words.is_bold ? " font-weight=\"bold\"" : "");
    out_ += fmt::format("<text class=\"{}{}\" {}>{}</text>", class_of(words.ink), words.has_ground ? " halo" : "", common, text);
  }

 private:
  void spots(const std::vector<Spot>& spots) {
    out_ += " points=\"";
    for (const Spot& spot : spots) out_ += fmt::format("{:.1f},{:.1f} ", spot.x, spot.y);
    out_ += "\"/>";
  }
  std::string out_;
};

class Writer {
 public:
  std::string write(const Pages& pages) {
    out_ = fmt::format("<!doctype html>\n<html lang=\"{}\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                       "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; style-src 'unsafe-inline'\">\n<title>{}</title>\n<meta name=\"description\" content=\"{}\">\n<style>{}</style>\n</head>\n<body>\n",
                       escaped(pages.language), escaped(pages.title), escaped(pages.subject), style());
    if (!pages.warning.empty()) out_ += fmt::format("<p class=\"warning\" role=\"note\">{}</p>\n", escaped(pages.warning));
    part("main", pages.buyer);
    part("section", pages.technician);
    out_ += fmt::format("<footer>{}{}</footer>\n</body>\n</html>\n", escaped(pages.foot), pages.made_utc.empty() ? "" : " · " + escaped(pages.made_utc));
    return std::move(out_);
  }

 private:
  void part(const char* tag, const std::vector<Block>& blocks) {
    out_ += fmt::format("<{}>\n", tag);
    for (std::size_t i = 0; i < blocks.size(); ++i) {
      const auto* figure = std::get_if<Figure>(&blocks[i]);
      const bool is_half = figure != nullptr && figure->is_half;
      if (is_half && !is_in_halves_) out_ += "<div class=\"halves\">\n";
      if (!is_half && is_in_halves_) out_ += "</div>\n";
      is_in_halves_ = is_half;
      std::visit([this](const auto& block) { put(block); }, blocks[i]);
    }
    if (is_in_halves_) out_ += "</div>\n";
    is_in_halves_ = false;
    out_ += fmt::format("</{}>\n", tag);
  }

  void put(const NewSide&) {}
  void put(const Heading& heading) { out_ += fmt::format("<h{0}>{1}</h{0}>\n", std::clamp(heading.level, 1, 3), escaped(heading.text)); }
  void put(const Paragraph& paragraph) {
    static constexpr std::array tones{"plain", "big", "strong", "small"};
    out_ += fmt::format("<p class=\"{}\">{}</p>\n", tones[static_cast<std::size_t>(paragraph.tone)], with_breaks(paragraph.text));
  }
  void put(const ItemList& list) {
    if (list.items.empty()) return;
    out_ += list.is_small ? "<ul class=\"small\">\n" : "<ul>\n";
    for (const std::string& item : list.items) out_ += "<li>" + with_breaks(item) + "</li>\n";
    out_ += "</ul>\n";
  }
  void put(const Table& table) {
    out_ += table.is_small ? "<div class=\"wide\"><table class=\"small\">\n" : "<div class=\"wide\"><table>\n";
    if (!table.caption.empty()) out_ += "<caption>" + escaped(table.caption) + "</caption>\n";
    out_ += "<thead><tr>";
    for (const Column& column : table.columns) out_ += fmt::format("<th scope=\"col\"{}>{}</th>", column.is_figure ? " class=\"figure\"" : "", escaped(column.title));
    out_ += "</tr></thead>\n<tbody>\n";
    for (const auto& row : table.rows) {
      out_ += "<tr>";
      for (std::size_t c = 0; c < table.columns.size(); ++c) {
        const char* tag = c == 0 ? "th" : "td";
        out_ += fmt::format("<{}{}{}>{}</{}>", tag, c == 0 ? " scope=\"row\"" : "", table.columns[c].is_figure ? " class=\"figure\"" : "", with_breaks(c < row.size() ? row[c] : std::string()), tag);
      }
      out_ += "</tr>\n";
    }
    out_ += "</tbody></table></div>\n";
  }
  void put(const Figure& figure) {
    const double width = figure.is_half ? half_chart_width : chart_width;
    out_ += fmt::format("<figure><p class=\"strong\">{}</p>{}<figcaption>{}</figcaption></figure>\n", escaped(title_of(figure.chart)), Svg(draw_chart(figure.chart, width, figure.height * 1.35), figure.chart.title + ". " + figure.chart.alt).text(), escaped(figure.chart.alt));
  }
  void photo(const Photo& photo) {
    const char* type = photo.bytes.starts_with("\x89PNG") ? "image/png" : "image/jpeg";
    out_ += fmt::format("<figure class=\"photo\"><img alt=\"{}\" src=\"data:{};base64,{}\">", escaped(photo.alt), type, base64(photo.bytes));
    if (!photo.caption.empty()) out_ += "<figcaption>" + escaped(photo.caption) + "</figcaption>";
    out_ += "</figure>\n";
  }
  void put(const PhotoBeside& beside) {
    out_ += "<div class=\"beside\"><div>\n";
    for (const Paragraph& paragraph : beside.paragraphs) put(paragraph);
    put(beside.items);
    out_ += "</div>\n";
    for (const Photo& one : beside.photo) photo(one);
    out_ += "</div>\n";
  }
  void put(const PhotoRow& row) {
    out_ += "<div class=\"halves\">\n";
    for (const Photo& one : row.photos) photo(one);
    out_ += "</div>\n";
  }

  static std::string style() {
    std::string inks;
    for (std::size_t i = 0; i < ink_count; ++i) inks += fmt::format("--{}:{};", ink_classes[i], colour_text(static_cast<Ink>(i)));
    std::string rules;
    for (const char* name : ink_classes) rules += fmt::format("text.{0},.a.{0}{{fill:var(--{0})}}.s.{0}{{stroke:var(--{0})}}", name);
    return ":root{color-scheme:light dark;" + inks + "}" +
           "@media (prefers-color-scheme:dark){:root{--text:#ececec;--soft:#b4b8be;--line:#5a5f66;--band:#2b3138;--ground:#15181b;--first:#8fbdf5;--second:#f0a878;--third:#7fd6a8;--fourth:#dda0dd;--warn:#e0c060;--trip:#ff9c9c}}"
           "@media print{:root{color-scheme:light;" + inks + "}}" + rules +
           ".s{fill:none}.halo{paint-order:stroke;stroke:var(--ground);stroke-width:2.5px}svg text{dominant-baseline:central;font-family:inherit}"
           "body{margin:0 auto;padding:1rem;max-width:60rem;background:var(--ground);color:var(--text);font:15px/1.45 'DejaVu Sans',system-ui,sans-serif;overflow-wrap:anywhere}"
           "h1{font-size:1.6rem;border-bottom:1px solid var(--line);padding-bottom:.2rem}h2{font-size:1.1rem;margin-top:1.4rem}h3{font-size:1rem}p{margin:.35rem 0}.big{font-size:1.35rem;font-weight:bold}.strong{font-weight:bold}"
           ".small,caption,figcaption{font-size:.82rem;color:var(--soft)}table{border-collapse:collapse;width:100%;font-size:.9rem}table.small{font-size:.8rem}caption{caption-side:bottom;text-align:start}"
           "th,td{text-align:start;vertical-align:top;padding:.2rem .4rem;border-bottom:1px solid var(--line);font-weight:normal;color:var(--text)}thead th{font-weight:bold;border-bottom:2px solid var(--soft)}.figure{text-align:end}"
           ".wide{overflow-x:auto}figure{margin:.6rem 0;overflow-x:auto}figure svg{width:100%;min-width:34rem;height:auto;display:block}.halves svg{min-width:18rem}figure svg svg{min-width:0}.beside{display:flex;gap:1rem;flex-wrap:wrap}.beside>div{flex:1 1 22rem}.beside .photo{flex:0 1 16rem}.photo img{max-width:100%;height:auto}"
           ".halves{display:grid;grid-template-columns:repeat(auto-fit,minmax(18rem,1fr));gap:.8rem}.warning{border:3px double var(--trip);color:var(--trip);padding:.5rem;font-weight:bold}footer{margin-top:2rem;border-top:1px solid var(--line);font-size:.8rem;color:var(--soft)}"
           "@page{margin:14mm}@media print{body{max-width:none;padding:0;font-size:9pt}section{break-before:page}figure,tr,li{break-inside:avoid}h1,h2,h3{break-after:avoid}}";
  }

  std::string out_;
  bool is_in_halves_ = false;
};

}  // namespace

Result<std::string> page_html(const PageInput& input) {
  const auto small = with_small_photos(input);
  if (!small) return tl::unexpected(small.error());
  return Writer().write(pages_of(*small));
}

}  // namespace steadyglow::record
