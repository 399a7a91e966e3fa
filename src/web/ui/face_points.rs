//! The points of a face as files: `rear.csv` for a spreadsheet or a digital readout, `rear.dxf` for a drawing program.

use super::{Answer, WebError, csv};
use crate::castings::{Face, Feature, Pattern, Variant};
use crate::documents::points;
use crate::units::{Code, LengthUnit};
use actix_web::HttpResponse;
use actix_web::http::header::ContentDisposition;
use maud::{Markup, html};

/// The file of this name with the features of a variant, of which the pattern is drawn around them.
///
/// # Errors
/// [`WebError::NotFound`] when the name is not that of a face and a kind of file.
pub(in crate::web) fn file(
    name: &str,
    (pattern, variant): (&Pattern, &Variant),
    unit: LengthUnit,
) -> Answer {
    let missing = || WebError::NotFound("this file");
    let (code, kind) = name.split_once('.').ok_or_else(missing)?;
    let face = Face::from_code(code).ok_or_else(missing)?;
    let on_face = variant.features.iter().filter(|f| f.place.face == face);
    let features: Vec<&Feature> = on_face.collect();
    match kind {
        "csv" => Ok(csv::download(name, points::table(pattern, &features, unit)).into()),
        "dxf" => {
            let drawn = points::dxf(pattern.outline(face), &features);
            let response = HttpResponse::Ok()
                .content_type("image/vnd.dxf")
                .insert_header(ContentDisposition::attachment(name.to_owned()))
                .body(drawn);
            Ok(response.into())
        }
        _ => Err(missing()),
    }
}

/// Links to the points of a face, whose files are under `path`.
pub(in crate::web) fn links(path: &str, face: Face) -> Markup {
    let path = format!("{path}/{}", face.code());
    let whose = format!("points of the {face}");
    html! {
        a type="text/csv" href={ (path) ".csv" } { "CSV" span.visually-hidden { ", " (whose) } } " for the readout, "
        a type="image/vnd.dxf" href={ (path) ".dxf" } { "DXF" span.visually-hidden { ", " (whose) } } " for a drawing program"
    }
}
