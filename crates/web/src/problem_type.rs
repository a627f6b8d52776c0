//! The problems that there are: each with its address, its status and a page that says what to do.

use axum::http::StatusCode;

/// A type of problem (RFC 9457, section 3.1.1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct ProblemType {
    /// The last part of its address, `/problems/SLUG`.
    pub(crate) slug: &'static str,
    /// The HTTP status that goes with it.
    pub(crate) status: StatusCode,
    /// What it is, in a few words.
    pub(crate) title: &'static str,
    /// What is behind it and what to do, for its page.
    pub(crate) text: &'static str,
}

macro_rules! problems {
    ($($name:ident = $slug:literal, $status:ident, $title:literal, $text:literal;)+) => {
        impl ProblemType {
            $(pub(crate) const $name: Self = Self { slug: $slug, status: StatusCode::$status, title: $title, text: $text };)+

            /// All problems, in the order of their status.
            pub(crate) const ALL: &[Self] = &[$(Self::$name),+];
        }
    };
}

problems! {
    MALFORMED = "malformed", BAD_REQUEST, "The body is not what it says it is",
        "The body could not be read: it is not UTF-8, not JSON, has one member twice, or is not a patch of the kind that its Content-Type names. `pointer` shows how far reading came. Nothing has changed; correct the text and send it again.";
    BAD_PATH = "path", BAD_REQUEST, "The address holds a name that cannot be one",
        "A name in the address is not of the form that it must have. Ids of fixtures are 1 to 64 of a-z, 0-9 and '-', beginning and ending with a letter or digit. Other characters are refused as they stand and also when they are percent-encoded.";
    BAD_QUERY = "query", BAD_REQUEST, "A query parameter cannot be used",
        "A parameter after the question mark is not known here, occurs twice, or has a value that it cannot have. `detail` names it. Times are RFC 3339 with seconds and offset, such as 2026-11-25T20:00:00Z; a plus sign in one is best written %2B.";
    BAD_HEADER = "header", BAD_REQUEST, "A header cannot be used",
        "A header of the request is not of the form that it must have: entity tags in If-Match and If-None-Match stand in double quotes, an Idempotency-Key is 1 to 255 printable ASCII characters and is taken where a request can be remembered.";
    CURSOR = "cursor", BAD_REQUEST, "The cursor was not given out here",
        "A cursor is taken from `next` or from the Link header of the page before and belongs to the same address with the same parameters. Begin again without it.";
    NO_TOKEN = "no-token", UNAUTHORIZED, "A token is needed",
        "Nothing but health is answered without a token. Send `Authorization: Bearer TOKEN`. The first start of the daemon prints an admin token once; with it `POST /v1/tokens` makes others. On the machine itself the owner may set `http.open_on_loopback`.";
    SCOPE = "scope", FORBIDDEN, "The token may not do this",
        "A token with scope `read` reads, one with `edit` also changes what fixtures should do, one with `admin` also makes, enrols and deletes fixtures, makes backups and tokens. Ask the owner for a token that may.";
    FOREIGN = "foreign-page", FORBIDDEN, "The request comes from another site's page",
        "A browser says that the request was made by a page of another origin. Such requests may not change anything here. Use the daemon's own page, or a program.";
    NO_ROUTE = "no-such-address", NOT_FOUND, "There is nothing at this address",
        "The address is none of those of the interface. /openapi.json lists them, /docs shows them.";
    UNKNOWN_FIXTURE = "unknown-fixture", NOT_FOUND, "There is no such fixture",
        "No fixture has this id. `GET /v1/fixtures` lists those that there are; the history of fixtures that were taken away is in `GET /v1/history`.";
    NOT_THERE = "not-there", NOT_FOUND, "What was asked for is not there",
        "There is no state of that revision or time, or no token, backup or kind of that name. `detail` says which.";
    METHOD = "method", METHOD_NOT_ALLOWED, "The method is not allowed here",
        "The address is right, the method is not. The Allow header lists the methods that there are.";
    NOT_ACCEPTABLE = "not-acceptable", NOT_ACCEPTABLE, "There is no such form of the answer",
        "The Accept header names no form that this answer comes in. History comes as application/json, application/x-ndjson and text/csv, an agenda as application/json and text/calendar.";
    TIMEOUT = "timeout", REQUEST_TIMEOUT, "The request took too long",
        "The request was not finished in time. If it was an edit, read the document before you repeat it: it may have been made.";
    EXISTS = "exists", CONFLICT, "There is one of that name already",
        "The name is taken. Choose another one, or change what is there.";
    RESERVED = "reserved", CONFLICT, "The name is one of the daemon's own",
        "With this id a fixture would come in at the broker under a name by which the daemon itself is known there: its user name or its client id (`broker.username`, `broker.client_id`). Choose another id, or give the daemon another name.";
    CONTENDED = "contended", CONFLICT, "Others changed it again and again meanwhile",
        "The request named no revision, and each time that it was about to be carried out another edit came in between. Nothing has changed by it. Try again in a moment, or name the revision in If-Match.";
    TEST_FAILED = "test-failed", CONFLICT, "A test of the patch did not hold",
        "A `test` operation of a JSON Patch (RFC 6902) found another value. Nothing has changed; read the document again and make the patch anew.";
    NO_LOOKS = "no-looks", CONFLICT, "This kind of fixture has no looks",
        "Only a fixture of the kind `strip` can be shown, overridden or asked for its agenda. Other kinds have a desired document that means something to their firmware alone.";
    NOTHING_TO_UNDO = "nothing-to-undo", CONFLICT, "There is nothing to undo",
        "The desired document is at revision 0: nothing was ever asked of this fixture.";
    NEVER_GIVEN = "never-given", CONFLICT, "This revision was never given out",
        "A fixture says that it has applied a revision that its desired document never had, as after a restored backup. It should ask for the whole again.";
    SECRET_SHOWN = "secret-shown", CONFLICT, "The answer held a secret and is not kept",
        "A request under this Idempotency-Key was carried out already. Its answer held a secret, and secrets are shown once only. To get a new one, ask again under a new key; the secret before it ends.";
    RETIRED = "retired", GONE, "That history is no longer kept",
        "History is kept for a limited time and number of rows, and the state asked for is older. `detail` names the oldest that can still be shown.";
    STALE = "stale", PRECONDITION_FAILED, "The document has moved on",
        "The entity tag in If-Match is not the current one, or the one in If-None-Match is: somebody else changed the document since you read it. Nothing has changed by this request. For an enrolment it also counts whether the fixture was enrolled since. Read it again and repeat the edit on what you find.";
    TOO_LARGE = "too-large", PAYLOAD_TOO_LARGE, "The body is too large",
        "A request's body is at most 65,536 bytes, and a document at most 8,192 bytes as compact JSON.";
    LONG_ADDRESS = "long-address", URI_TOO_LONG, "The address is too long",
        "The address with its query is at most 8,192 bytes.";
    MEDIA_TYPE = "media-type", UNSUPPORTED_MEDIA_TYPE, "This type of body is not taken here",
        "The Content-Type is missing or is none that is taken here. PATCH takes application/merge-patch+json (RFC 7396) and application/json-patch+json (RFC 6902), which Accept-Patch names; everything else takes application/json. Bodies come without Content-Encoding.";
    INVALID = "invalid", UNPROCESSABLE_ENTITY, "The document would not be acceptable",
        "The body is good JSON, but breaks a bound or a rule. `pointer` is the JSON Pointer of the first fault, `errors` lists every one that was found, with what to write instead. Nothing has changed.";
    UNKNOWN_KIND = "unknown-kind", UNPROCESSABLE_ENTITY, "There is no such kind",
        "A fixture is of the kind `strip` or `free`, or of one that the owner describes by a JSON Schema in the folder `kinds` of the data folder. `GET /v1/kinds` lists those that there are.";
    NO_PLACE = "no-place", UNPROCESSABLE_ENTITY, "There is no place to reckon from",
        "The sun and the clock are those of a place, and neither the fixture nor the site has one. Set site.latitude, site.longitude and site.zone in the configuration, all three, or give the fixture a `place` of its own by PATCH.";
    KEY_REUSED = "key-reused", UNPROCESSABLE_ENTITY, "The Idempotency-Key belongs to another request",
        "A key stands for one request: the same method, address and body. Choose a new key for a new request.";
    DEFECT = "defect", INTERNAL_SERVER_ERROR, "The daemon has a defect",
        "This should not happen. The daemon's log says more; please report it with what you sent.";
    DAMAGED = "damaged", INTERNAL_SERVER_ERROR, "A file is damaged",
        "The database or a copy of it holds something that cannot be used. `detail` says what and where; a backup can be put back with `sconced restore`.";
    BROKER_FILES = "broker-files", BAD_GATEWAY, "The external broker's files could not be written",
        "The change stands in the database, but the password and access files of the external broker could not be written, so that the broker does not know of it yet. Mend what `detail` names, then enrol again.";
    NOT_READY = "not-ready", SERVICE_UNAVAILABLE, "The daemon cannot do all of its work",
        "Either the database does not take edits or there is no link to the broker. `detail` says which; the log says why.";
    STOPPING = "stopping", SERVICE_UNAVAILABLE, "The daemon is stopping",
        "Nothing was changed. Try again in a moment.";
    DATABASE = "database", SERVICE_UNAVAILABLE, "The database failed",
        "The database or a file could not be read or written. Nothing was changed. `detail` says what was being done; mend it, then try again.";
    FULL = "disk-full", INSUFFICIENT_STORAGE, "The disk is full",
        "Nothing was written, and reading goes on. Make room, then try again.";
}

impl ProblemType {
    /// The problem of that slug.
    pub(crate) fn find(slug: &str) -> Option<&'static Self> {
        Self::ALL.iter().find(|problem| problem.slug == slug)
    }

    /// Its address, as `type` holds it.
    pub(crate) fn address(self) -> String {
        format!("/problems/{}", self.slug)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_problem_has_an_address_of_its_own_and_an_error_status() {
        for (index, problem) in ProblemType::ALL.iter().enumerate() {
            assert!(problem.status.as_u16() >= 400, "{}", problem.slug);
            assert!(problem.text.len() > 40, "{}", problem.slug);
            assert_eq!(ProblemType::ALL.iter().position(|other| other.slug == problem.slug), Some(index));
            assert_eq!(ProblemType::find(problem.slug), Some(problem));
        }
        assert_eq!(ProblemType::find("bored"), None);
    }
}
