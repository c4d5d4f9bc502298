#include <fmt/format.h>

#include <array>

#include <cairo-pdf.h>

#include "record/flow.hpp"
#include "record/page_input.hpp"
#include "record/paint.hpp"
#include "record/photo.hpp"

namespace steadyglow::record {

/// Photos that a page can hold; fails when one cannot be read.
Result<PageInput> with_small_photos(PageInput input);

namespace {

/// From roomy to dense: the first with which the buyer's part is on one side.
constexpr std::array densities{Density{1.0, 1.0}, Density{1.0, 0.5}, Density{0.95, 0.3}, Density{0.92, 0.0}, Density{0.86, 0.0}, Density{0.8, 0.0}};

cairo_status_t append(void* to, const unsigned char* bytes, unsigned size) {
  static_cast<std::string*>(to)->append(reinterpret_cast<const char*>(bytes), size);
  return CAIRO_STATUS_SUCCESS;
}

Surface nowhere() { return Surface(cairo_recording_surface_create(CAIRO_CONTENT_COLOR, nullptr)); }

Density density_for(const Pages& pages, const Sheet& sheet) {
  for (const Density& density : densities) {
    const Surface surface = nowhere();
    const Context context(cairo_create(surface.get()));
    if (flow(context.get(), pages.buyer, sheet, density, {}).sides == 1) return density;
  }
  return densities[1];  // more than a side holds goes over to a second: then no need to squeeze
}

std::size_t count_sides(const std::vector<Block>& blocks, const Sheet& sheet, const Density& density) {
  const Surface surface = nowhere();
  const Context context(cairo_create(surface.get()));
  return flow(context.get(), blocks, sheet, density, {}).sides;
}

void put_foot(cairo_t* to, const Pages& pages, const Sheet& sheet, double y, const std::string& number) {
  const double width = sheet.width - 2.0 * sheet.margin;
  use(to, Ink::line);
  cairo_set_line_width(to, 0.5);
  cairo_move_to(to, sheet.margin, y);
  cairo_line_to(to, sheet.margin + width, y);
  cairo_stroke(to);
  const SetText left(to, pages.foot, width * 0.82, {.size = 7.0, .ink = Ink::soft});
  left.show(to, sheet.margin, y + 3.0, 0, left.lines());
  const SetText right(to, number, width * 0.17, {.size = 7.0, .is_right = true, .ink = Ink::soft});
  right.show(to, sheet.margin + width * 0.83, y + 3.0, 0, right.lines());
  if (pages.warning.empty()) return;
  const SetText warning(to, pages.warning, width, {.size = 8.0, .is_bold = true, .ink = Ink::trip});
  warning.show(to, sheet.margin, 12.0, 0, warning.lines());
}

Result<std::string> write(const Pages& pages, const Sheet& sheet) {
  std::string bytes;
  const Surface surface(cairo_pdf_surface_create_for_stream(append, &bytes, sheet.width, sheet.height));
  const auto say = [&](cairo_pdf_metadata_t what, const std::string& text) { cairo_pdf_surface_set_metadata(surface.get(), what, text.c_str()); };
  say(CAIRO_PDF_METADATA_TITLE, pages.title);
  say(CAIRO_PDF_METADATA_SUBJECT, pages.subject);
  if (!pages.author.empty()) say(CAIRO_PDF_METADATA_AUTHOR, pages.author);
  say(CAIRO_PDF_METADATA_KEYWORDS, pages.keywords);
  say(CAIRO_PDF_METADATA_CREATOR, "steadyglow");
  // The run's own time: made twice, it is the same file.
  const std::string made = pages.made_utc.empty() ? "1970-01-01T00:00:00Z" : pages.made_utc;
  say(CAIRO_PDF_METADATA_CREATE_DATE, made);
  say(CAIRO_PDF_METADATA_MOD_DATE, made);
  const Context context(cairo_create(surface.get()));
  cairo_t* to = context.get();

  const Density buyer = density_for(pages, sheet);
  const Density dense{0.95, 0.6};
  const std::size_t buyers = count_sides(pages.buyer, sheet, buyer);
  const std::size_t sides = buyers + (pages.technician.empty() ? 0 : count_sides(pages.technician, sheet, dense));
  FlowHooks hooks;
  // First, not last: Cairo 1.16 refuses a side whose first mark is a tagged photo ("invalid tag name, attributes, or nesting").
  hooks.begin_side = [&](std::size_t side) { put_foot(to, pages, sheet, sheet.height - sheet.margin - foot_room + 8.0, fmt::format("side {} of {}", side + 1, sides)); };
  hooks.end_side = [&](std::size_t) { cairo_show_page(to); };
  hooks.begin_tag = [&](const char* tag) { cairo_tag_begin(to, tag, nullptr); };
  hooks.end_tag = [&](const char* tag) { cairo_tag_end(to, tag); };
  int chapter = CAIRO_PDF_OUTLINE_ROOT;
  hooks.outline = [&](const std::string& heading, int level, std::size_t side, double y) {
    const std::string place = fmt::format("page={} pos=[{:.2f} {:.2f}]", side + 1, sheet.margin, y);
    const int added = cairo_pdf_surface_add_outline(surface.get(), level == 1 ? CAIRO_PDF_OUTLINE_ROOT : chapter, heading.c_str(), place.c_str(), level == 1 ? CAIRO_PDF_OUTLINE_FLAG_OPEN : static_cast<cairo_pdf_outline_flags_t>(0));
    if (level == 1) chapter = added;
  };
  cairo_tag_begin(to, "Document", nullptr);
  flow(to, pages.buyer, sheet, buyer, hooks);
  if (!pages.technician.empty()) flow(to, pages.technician, sheet, dense, hooks, buyers);
  cairo_tag_end(to, "Document");
  cairo_surface_finish(surface.get());
  const auto status = cairo_status(to) != CAIRO_STATUS_SUCCESS ? cairo_status(to) : cairo_surface_status(surface.get());
  if (status != CAIRO_STATUS_SUCCESS) return fail(Fault::io, fmt::format("the pages could not be made: {}", cairo_status_to_string(status)));
  return bytes;
}

/// Paints onto a picture listing_width px wide and as high as it takes.
template <class Paint>
Result<std::string> picture(double width, double height, Paint paint_it) {
  constexpr int pixels_high_max = 32'000;  // Cairo's own bound
  const double scale = listing_width / width;
  const int pixels_high = static_cast<int>(height * scale + 0.5);
  if (pixels_high > pixels_high_max) return fail(Fault::bad_data, "this side is too long for a picture", "make a PDF or an HTML page of it");
  const Surface surface(cairo_image_surface_create(CAIRO_FORMAT_RGB24, listing_width, pixels_high));
  const Context context(cairo_create(surface.get()));
  use(context.get(), Ink::ground);
  cairo_paint(context.get());
  cairo_scale(context.get(), scale, scale);
  paint_it(context.get());
  std::string png;
  if (cairo_status(context.get()) != CAIRO_STATUS_SUCCESS || cairo_surface_write_to_png_stream(surface.get(), append, &png) != CAIRO_STATUS_SUCCESS) return fail(Fault::io, "the picture could not be made");
  return png;
}

}  // namespace

Result<PageInput> with_small_photos(PageInput input) {
  for (auto* list : {&input.photo, &input.clips})
    for (Photo& photo : *list) {
      auto small = small_photo(photo);
      if (!small) return tl::unexpected(small.error());
      photo = std::move(*small);
    }
  return input;
}

Result<std::string> page_pdf(const PageInput& input, PaperSize paper) {
  const auto small = with_small_photos(input);
  if (!small) return tl::unexpected(small.error());
  return write(pages_of(*small), paper == PaperSize::a4 ? a4_sheet : letter_sheet);
}

Result<std::string> pages_pdf(const Pages& pages, PaperSize paper) { return write(pages, paper == PaperSize::a4 ? a4_sheet : letter_sheet); }

Result<std::string> page_png(const PageInput& input) {
  const auto small = with_small_photos(input);
  if (!small) return tl::unexpected(small.error());
  const Pages pages = pages_of(*small);
  Sheet sheet = a4_sheet;
  sheet.height = 0.0;
  const Density roomy{};
  double used = 0.0;
  {
    const Surface surface = nowhere();
    const Context context(cairo_create(surface.get()));
    used = flow(context.get(), pages.buyer, sheet, roomy, {}).used;
  }
  return picture(sheet.width, used + foot_room + sheet.margin, [&](cairo_t* to) {
    flow(to, pages.buyer, sheet, roomy, {});
    put_foot(to, pages, sheet, used + 8.0, {});
  });
}

Result<std::string> graph_png(const PageInput& input) {
  const Pages pages = pages_of(input);
  for (const Block& block : pages.buyer) {
    const auto* figure = std::get_if<Figure>(&block);
    if (figure == nullptr || !figure->is_for_listing) continue;
    constexpr double width = 480.0, margin = 10.0, height = 200.0;
    double head = 0.0;
    {
      const Surface surface = nowhere();
      const Context context(cairo_create(surface.get()));
      head = SetText(context.get(), fmt::format("{} · {}", title_of(figure->chart), pages.foot), width - 2.0 * margin, {.size = 8.0, .is_bold = true}).height() + 4.0;
    }
    return picture(width, head + height + 3.0 * margin + 8.0, [&](cairo_t* to) {
      const SetText title(to, fmt::format("{} · {}", title_of(figure->chart), pages.foot), width - 2.0 * margin, {.size = 8.0, .is_bold = true});
      title.show(to, margin, margin, 0, title.lines());
      paint(to, draw_chart(figure->chart, width - 2.0 * margin, height), margin, margin + head);
      const SetText warning(to, pages.warning, width - 2.0 * margin, {.size = 7.0, .is_bold = true, .ink = Ink::trip});
      if (!pages.warning.empty()) warning.show(to, margin, margin + head + height + 4.0, 0, warning.lines());
    });
  }
  return fail(Fault::bad_data, "this run has no figure that could be drawn");
}

}  // namespace steadyglow::record
