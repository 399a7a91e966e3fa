//! Style sheet, scripts and the mark: compiled in, compressed once, named by their content and cached for ever.
//! The style sheet is joined from the files of `static/css/`, one for each component.

use super::error::WebError;
use actix_web::http::header::{
    ACCEPT_ENCODING, CACHE_CONTROL, CONTENT_ENCODING, ETAG, HeaderValue, VARY,
};
use actix_web::{HttpRequest, HttpResponse, web};
use flate2::{Compression, write::GzEncoder};
use sha2::{Digest, Sha256};
use std::io::Write;
use std::sync::LazyLock;

struct Asset {
    name: &'static str,
    /// `/static/<16 hex digits of its SHA-256>/<name>`.
    url: String,
    content_type: &'static str,
    raw: web::Bytes,
    gzip: web::Bytes,
}

macro_rules! asset {
    ($name:literal, $content_type:literal) => {
        Asset::new(
            $name,
            $content_type,
            web::Bytes::from_static(include_bytes!(concat!(
                env!("CARGO_MANIFEST_DIR"),
                "/static/",
                $name
            ))),
        )
    };
}

/// A picture of the guide, as the tests take it.
macro_rules! picture {
    ($name:literal, $file:literal) => {
        Asset::new(
            concat!($name, ".png"),
            "image/png",
            web::Bytes::from_static(include_bytes!(concat!(
                env!("CARGO_MANIFEST_DIR"),
                "/tests/pictures/",
                $file,
                ".png"
            ))),
        )
    };
}

macro_rules! style {
    ($($name:literal),+ $(,)?) => {
        &[$((
            $name,
            include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/static/css/", $name, ".css")),
        )),+]
    };
}

/// The files of `static/css/` with their text, in the order of the cascade: of two rules with equal specificity, the
/// later one wins. They are served joined, as `borewright.css`.
const STYLE: &[(&str, &str)] = style![
    "tokens",
    "base",
    "shell",
    "layout",
    "buttons",
    "forms",
    "notices",
    "tables",
    "live",
    "drawings",
    "phone",
    "print",
    "motion",
    "sign-in",
    "market",
    "hours",
    "castings",
    "face-drawing",
    "conversion-rules",
    "shelf",
    "shop",
    "enquiry",
    "cost",
    "route",
    "stock",
    "jobs",
    "week-plan",
    "week",
    "week-day",
    "week-media",
    "bench",
    "records",
    "measured",
    "review",
    "customers",
    "guide",
];

/// The style sheet as it is served.
fn style_sheet() -> web::Bytes {
    let parts: Vec<&str> = STYLE.iter().map(|(_, text)| *text).collect();
    web::Bytes::from(parts.join("\n"))
}

static ASSETS: LazyLock<Vec<Asset>> = LazyLock::new(|| {
    vec![
        asset!("bench.js", "text/javascript; charset=utf-8"),
        Asset::new("borewright.css", "text/css; charset=utf-8", style_sheet()),
        picture!("bench", "bench-390"),
        picture!("castings-compare", "castings-compare-1440"),
        picture!("enquiry", "enquiry-1440"),
        picture!("job-under-way", "job-under-way-1440"),
        picture!("review-standards", "review-standards-1440"),
        picture!("week", "week-1440"),
        asset!("fold.js", "text/javascript; charset=utf-8"),
        asset!("keys.js", "text/javascript; charset=utf-8"),
        asset!("live.js", "text/javascript; charset=utf-8"),
        asset!("lookup.js", "text/javascript; charset=utf-8"),
        asset!("mark.svg", "image/svg+xml"),
        asset!("print.js", "text/javascript; charset=utf-8"),
        asset!("week.js", "text/javascript; charset=utf-8"),
        asset!("week-move.js", "text/javascript; charset=utf-8"),
    ]
});

impl Asset {
    fn new(name: &'static str, content_type: &'static str, bytes: web::Bytes) -> Self {
        let hash = Sha256::digest(&bytes);
        let hex: String = hash.iter().take(8).map(|b| format!("{b:02x}")).collect();
        let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
        // A picture is compressed already. Writing into memory does not fail; were it to, the raw bytes would be served.
        let gzip = match content_type {
            "image/png" => web::Bytes::new(),
            _ => encoder
                .write_all(&bytes)
                .and_then(|()| encoder.finish())
                .map_or(web::Bytes::new(), web::Bytes::from),
        };
        Self {
            name,
            url: format!("/static/{hex}/{name}"),
            content_type,
            raw: bytes,
            gzip,
        }
    }
}

/// Where a file of `static/` is served, by its name. Unknown names give `/static/`, which is not found.
#[must_use]
pub fn url(name: &str) -> &'static str {
    ASSETS
        .iter()
        .find(|asset| asset.name == name)
        .map_or("/static/", |asset| asset.url.as_str())
}

/// `/static/{hash}/{name}`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/static/{hash}/{name}", web::get().to(serve));
}

async fn serve(req: HttpRequest) -> Result<HttpResponse, WebError> {
    let asset = ASSETS
        .iter()
        .find(|asset| asset.url == req.path())
        .ok_or(WebError::NotFound("this file"))?;
    let takes_gzip = req
        .headers()
        .get(ACCEPT_ENCODING)
        .and_then(|value| value.to_str().ok())
        .is_some_and(|value| value.contains("gzip"));
    let mut response = HttpResponse::Ok();
    response
        .content_type(asset.content_type)
        .insert_header((CACHE_CONTROL, "public, max-age=31536000, immutable"))
        .insert_header((VARY, "accept-encoding"))
        .insert_header((ETAG, format!("\"{}\"", asset.url)));
    if takes_gzip && !asset.gzip.is_empty() {
        response.insert_header((CONTENT_ENCODING, HeaderValue::from_static("gzip")));
        return Ok(response.body(asset.gzip.clone()));
    }
    Ok(response.body(asset.raw.clone()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A brace that is not closed hides every rule after it from the browser, which reports nothing.
    #[test]
    fn every_style_file_closes_every_section_it_opens() {
        for (name, text) in STYLE {
            let mut depth = 0_i32;
            let mut in_comment = false;
            for (number, line) in text.lines().enumerate() {
                if line.starts_with("/*") {
                    let line = number + 1;
                    assert_eq!(depth, 0, "{name}.css:{line}: a rule above is not closed");
                    in_comment = true;
                }
                if !in_comment {
                    depth += line.matches('{').count() as i32 - line.matches('}').count() as i32;
                }
                in_comment &= !line.contains("*/");
            }
            assert_eq!(depth, 0, "{name}.css");
        }
    }

    /// A file that nobody lists would change nothing on any screen.
    #[test]
    fn every_style_file_is_part_of_the_sheet() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/static/css");
        let mut on_disk: Vec<String> = std::fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        let mut listed: Vec<String> = STYLE
            .iter()
            .map(|(name, _)| format!("{name}.css"))
            .collect();
        on_disk.sort();
        listed.sort();
        assert_eq!(on_disk, listed);
    }

    #[test]
    fn names_change_with_content_and_are_known() {
        assert!(url("borewright.css").ends_with("/borewright.css"));
        let one = Asset::new("a.css", "text/css", web::Bytes::from_static(b"a{}"));
        let two = Asset::new("a.css", "text/css", web::Bytes::from_static(b"b{}"));
        assert_ne!(one.url, two.url);
        assert_eq!(url("missing.css"), "/static/");
    }

    #[actix_web::test]
    async fn serving_copies_nothing() {
        use actix_web::body::MessageBody;
        use actix_web::test::TestRequest;
        for (encoding, ours) in [("gzip", &ASSETS[0].gzip), ("identity", &ASSETS[0].raw)] {
            let req = TestRequest::with_uri(&ASSETS[0].url)
                .insert_header((ACCEPT_ENCODING, encoding))
                .to_http_request();
            let body = serve(req).await.unwrap().into_body();
            assert_eq!(body.try_into_bytes().unwrap().as_ptr(), ours.as_ptr());
        }
    }
}
