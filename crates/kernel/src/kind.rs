//! Kinds of fixtures: which desired documents each accepts.

use std::collections::BTreeMap;

use document::{Pointer, Value};
use jiff::Timestamp;
use jsonschema::Validator;
use thiserror::Error;

use crate::name::{KindName, NameError};
use crate::rejection::{Advice, Finding, Rejection};
use crate::strip::Strip;

/// Why a kind of the owner's could not be taken in.
#[derive(Debug, Error)]
pub enum KindError {
    /// Its name is not one.
    #[error(transparent)]
    Name(#[from] NameError),
    /// Its name is that of a built-in kind.
    #[error("the kind {0} is built in; give your own kind another name")]
    BuiltIn(KindName),
    /// Its schema is not JSON.
    #[error("the schema of the kind {kind} is not JSON: {fault}")]
    Json {
        /// The kind.
        kind: KindName,
        /// What is wrong.
        fault: String,
    },
    /// Its schema is not a JSON Schema 2020-12.
    #[error("the schema of the kind {kind} is not a JSON Schema (draft 2020-12) that stands alone: {fault}")]
    Schema {
        /// The kind.
        kind: KindName,
        /// What is wrong.
        fault: String,
    },
}

/// What a kind checks.
#[derive(Debug)]
pub enum Kind {
    /// Addressable strips, checked member by member.
    Strip,
    /// The bounds of a document and nothing more.
    Free,
    /// A JSON Schema of the owner's.
    Owner {
        /// The compiled schema.
        validator: Box<Validator>,
        /// The schema as it was read.
        schema: Value,
    },
}

/// What a kind makes of a document that it accepts.
#[derive(Debug, Default)]
pub(crate) struct Accepted {
    /// What is worth knowing.
    pub(crate) advice: Vec<Advice>,
    /// The document as a strip's, where it is one.
    pub(crate) strip: Option<Strip>,
}

/// All kinds that this house knows.
#[derive(Debug)]
pub struct Kinds(BTreeMap<KindName, Kind>);

impl Default for Kinds {
    fn default() -> Self {
        Self(BTreeMap::from([(KindName::strip(), Kind::Strip), (KindName::free(), Kind::Free)]))
    }
}

impl Kinds {
    /// Takes in a kind of the owner's: a JSON Schema, draft 2020-12, that refers to nothing outside itself.
    ///
    /// # Errors
    /// When the name or the schema is not acceptable.
    pub fn describe(&mut self, name: &str, schema: &[u8]) -> Result<(), KindError> {
        let name: KindName = name.parse()?;
        if matches!(self.0.get(&name), Some(Kind::Strip | Kind::Free)) {
            return Err(KindError::BuiltIn(name));
        }
        let schema: Value = serde_json::from_slice(schema)
            .map_err(|error| KindError::Json { kind: name.clone(), fault: error.to_string() })?;
        let validator = jsonschema::draft202012::new(&schema)
            .map_err(|error| KindError::Schema { kind: name.clone(), fault: error.to_string() })?;
        self.0.insert(name, Kind::Owner { validator: Box::new(validator), schema });
        Ok(())
    }

    /// The kind of that name.
    #[must_use]
    pub fn get(&self, name: &KindName) -> Option<&Kind> {
        self.0.get(name)
    }

    /// The names of all kinds, in order.
    pub fn names(&self) -> impl Iterator<Item = &KindName> {
        self.0.keys()
    }

    /// The rejection for a name that is no kind.
    #[must_use]
    pub fn unknown(&self, kind: &KindName) -> Rejection {
        let known: Vec<_> = self.names().map(KindName::as_str).collect();
        Rejection::UnknownKind { kind: kind.clone(), known: known.join(", ") }
    }

    /// Whether a desired document is acceptable to a kind. `before` is the document that it follows: what has not
    /// changed since is not asked again whether its time has passed.
    ///
    /// # Errors
    /// [`Rejection::UnknownKind`], or [`Rejection::Invalid`] with every finding.
    pub fn accept(
        &self,
        kind: &KindName,
        desired: &Value,
        before: &Value,
        now: Timestamp,
    ) -> Result<Vec<Advice>, Rejection> {
        document::check_document(desired).map_err(|fault| Rejection::from_fault(&fault))?;
        let overridden_anew = match (desired.get("override"), before.get("override")) {
            (Some(after), Some(before)) => !document::equal(after, before),
            _ => true,
        };
        Ok(self.read(kind, desired, overridden_anew, now)?.advice)
    }

    /// Reads a desired document within its bounds as its kind does. Only an override that was set anew is asked whether
    /// its time has passed.
    pub(crate) fn read(
        &self,
        kind: &KindName,
        desired: &Value,
        overridden_anew: bool,
        now: Timestamp,
    ) -> Result<Accepted, Rejection> {
        match self.get(kind).ok_or_else(|| self.unknown(kind))? {
            Kind::Free => Ok(Accepted::default()),
            Kind::Strip => {
                let (strip, advice) = Strip::read(desired).map_err(Rejection::Invalid)?;
                if overridden_anew {
                    strip.check_override(now).map_err(Rejection::Invalid)?;
                }
                Ok(Accepted { advice, strip: Some(strip) })
            }
            Kind::Owner { validator, .. } => {
                let findings: Vec<_> = validator
                    .iter_errors(desired)
                    .take(32)
                    .map(|error| {
                        let pointer = Pointer::try_from(error.instance_path().to_string().as_str()).unwrap_or_default();
                        let text: String = error.to_string().chars().take(400).collect();
                        Finding::new(pointer, text, format!("write what the schema of the kind {kind} allows here"))
                    })
                    .collect();
                if findings.is_empty() { Ok(Accepted::default()) } else { Err(Rejection::Invalid(findings)) }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn a_kind_of_the_owners_checks_by_its_schema() {
        let mut kinds = Kinds::default();
        kinds
            .describe(
                "kettle-lamp",
                br#"{"type":"object","properties":{"glow":{"type":"integer","maximum":9}},"required":["glow"]}"#,
            )
            .unwrap();
        let kind: KindName = "kettle-lamp".parse().unwrap();
        let now = Timestamp::UNIX_EPOCH;
        assert!(kinds.accept(&kind, &json!({"glow": 3}), &json!({}), now).is_ok());
        let Err(Rejection::Invalid(findings)) = kinds.accept(&kind, &json!({"glow": 12}), &json!({}), now) else {
            panic!("accepted")
        };
        assert_eq!(findings[0].pointer.to_string(), "/glow");
    }

    #[test]
    fn a_bad_schema_is_refused_with_its_name() {
        let mut kinds = Kinds::default();
        assert!(matches!(kinds.describe("x", b"{"), Err(KindError::Json { .. })));
        assert!(matches!(kinds.describe("x", br#"{"type":"wheel"}"#), Err(KindError::Schema { .. })));
        assert!(matches!(kinds.describe("strip", b"{}"), Err(KindError::BuiltIn(_))));
        assert!(matches!(kinds.describe("../x", b"{}"), Err(KindError::Name(_))));
        // a schema that refers to something outside is not fetched, but refused
        assert!(kinds.describe("x", br#"{"$ref":"http://127.0.0.1:1/other.json"}"#).is_err());
    }
}
