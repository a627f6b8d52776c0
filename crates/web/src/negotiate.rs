//! Which form of an answer the caller accepts (RFC 9110, section 12.5.1).

use axum::http::HeaderMap;
use axum::http::header::ACCEPT;

use crate::problem_type::ProblemType;
use crate::refusal::Refusal;

pub(crate) const NDJSON: &str = "application/x-ndjson";
pub(crate) const CSV: &str = "text/csv; charset=utf-8; header=present";

/// The form of history.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Form {
    Json,
    Ndjson,
    Csv,
}

/// The form of an agenda.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum AgendaForm {
    Json,
    Calendar,
}

/// The forms that an answer comes in, each with its type and subtype, in order of preference where the caller has none.
pub(crate) type Forms<F> = [(F, &'static str, &'static str)];

/// Those of history.
pub(crate) const HISTORY: &Forms<Form> =
    &[(Form::Json, "application", "json"), (Form::Ndjson, "application", "x-ndjson"), (Form::Csv, "text", "csv")];

/// Those of an agenda.
pub(crate) const AGENDA: &Forms<AgendaForm> =
    &[(AgendaForm::Json, "application", "json"), (AgendaForm::Calendar, "text", "calendar")];

/// The form that the Accept header wants most.
pub(crate) fn form<F: Copy>(headers: &HeaderMap, forms: &Forms<F>) -> Result<F, Refusal> {
    let mut ranges: Vec<(String, String, u16)> = Vec::new();
    for line in headers.get_all(ACCEPT) {
        ranges.extend(String::from_utf8_lossy(line.as_bytes()).split(',').filter_map(range));
    }
    if ranges.is_empty() {
        ranges.push(("*".to_owned(), "*".to_owned(), 1000));
    }
    // the most specific range that fits decides for a form; the form with the highest weight is taken
    let weight = |kind: &str, subtype: &str| {
        ranges
            .iter()
            .filter(|(k, s, _)| (k == kind && (s == subtype || s == "*")) || (k == "*" && s == "*"))
            .max_by_key(|(k, s, _)| (k != "*", s != "*"))
            .map_or(0, |(.., weight)| *weight)
    };
    let mut best = None;
    for (form, kind, subtype) in forms {
        let weight = weight(kind, subtype);
        if weight > best.map_or(0, |(_, most)| most) {
            best = Some((*form, weight));
        }
    }
    best.map(|(form, _)| form).ok_or_else(|| {
        let names = forms.iter().map(|(_, kind, subtype)| format!("{kind}/{subtype}")).collect::<Vec<_>>();
        Refusal::new(ProblemType::NOT_ACCEPTABLE, "the Accept header names no form that this answer comes in")
            .advice(format!("accept one of {}", names.join(", ")))
    })
}

/// A media range and its weight in thousandths.
fn range(text: &str) -> Option<(String, String, u16)> {
    let mut parts = text.split(';');
    let (kind, subtype) = parts.next()?.trim().split_once('/')?;
    let mut weight = 1000;
    for parameter in parts {
        if let Some((name, value)) = parameter.split_once('=')
            && name.trim().eq_ignore_ascii_case("q")
        {
            let quality: f32 = value.trim().parse().ok().filter(|quality| (0.0..=1.0).contains(quality))?;
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 1000")]
            {
                weight = (quality * 1000.0) as u16;
            }
        }
    }
    Some((kind.trim().to_ascii_lowercase(), subtype.trim().to_ascii_lowercase(), weight))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(accept: &str) -> Option<Form> {
        form(&HeaderMap::from_iter([(ACCEPT, accept.parse().unwrap())]), HISTORY).ok()
    }

    #[test]
    fn an_agenda_is_a_calendar_for_those_who_ask_for_one() {
        for (accept, wanted) in [
            ("text/calendar", Some(AgendaForm::Calendar)),
            ("text/calendar; charset=utf-8", Some(AgendaForm::Calendar)),
            ("text/*", Some(AgendaForm::Calendar)),
            ("*/*", Some(AgendaForm::Json)),
            ("text/calendar;q=0.2, application/json", Some(AgendaForm::Json)),
            ("text/csv", None),
        ] {
            let headers = HeaderMap::from_iter([(ACCEPT, accept.parse().unwrap())]);
            assert_eq!(form(&headers, AGENDA).ok(), wanted, "{accept}");
        }
    }

    #[test]
    fn the_form_that_is_wanted_most_is_taken() {
        for (accept, wanted) in [
            ("*/*", Some(Form::Json)),
            ("text/csv", Some(Form::Csv)),
            ("text/*", Some(Form::Csv)),
            ("TEXT/CSV;header=present", Some(Form::Csv)),
            ("application/x-ndjson", Some(Form::Ndjson)),
            ("application/*", Some(Form::Json)),
            ("application/json;q=0.5, text/csv;q=0.9", Some(Form::Csv)),
            ("*/*, application/json;q=0", Some(Form::Ndjson)),
            ("text/html, */*;q=0.1", Some(Form::Json)),
            ("text/html", None),
            ("application/json;q=0", None),
            ("image/png, */*;q=0", None),
        ] {
            assert_eq!(of(accept), wanted, "{accept}");
        }
        assert_eq!(form(&HeaderMap::new(), HISTORY).ok(), Some(Form::Json));
        assert_eq!(of(""), Some(Form::Json));
    }
}
