//! A printer asked and told over IPP.

use crate::about::{integers, texts};
use crate::media::size_of_name;
use crate::{About, Address, Media, Payload};
use ipp::attribute::IppAttribute;
use ipp::error::IppError;
use ipp::model::{DelimiterTag, IppVersion, Operation, StatusCode};
use ipp::payload::IppPayload;
use ipp::prelude::{IppClient, Uri};
use ipp::request::IppRequestResponse;
use ipp::value::IppValue;
use std::io::Cursor;
use std::time::Duration;

/// Longest wait for an answer to a question.
const ANSWER: Duration = Duration::from_secs(15);
/// Longest wait for a document to be taken.
const TAKING: Duration = Duration::from_mins(3);
/// Jobs asked for when one is looked for by name.
const LISTED: i32 = 200;

/// What a job is to be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ticket {
    /// Name the printer shows; unique to the job.
    pub name: String,
    /// Who prints.
    pub by: String,
    /// Paper, as the printer has it.
    pub media: Media,
    /// How often.
    pub copies: u32,
}

/// Where a job stands at the printer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum JobState {
    /// Waits, or is held.
    Pending,
    /// Is being printed.
    Processing,
    /// Stopped on the way.
    Stopped,
    /// Cancelled at the printer or from here.
    Canceled,
    /// Given up by the printer.
    Aborted,
    /// Printed.
    Completed,
}

/// What a printer says of a job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobReport {
    /// The printer's number of it.
    pub id: i32,
    /// Where it stands.
    pub state: JobState,
    /// `job-state-reasons` as the printer writes them.
    pub reasons: Vec<String>,
    /// Sides printed so far, if it counts them.
    pub printed: Option<i32>,
    /// Size of the document it has, thousands (1024) of octets rounded up, if it counts them.
    pub k_octets: Option<i32>,
}

impl JobReport {
    /// Whether the printer says that it has all of a document of this size.
    #[must_use]
    pub fn holds(&self, octets: usize) -> bool {
        let has = self.k_octets.and_then(|k| usize::try_from(k).ok());
        has.is_some_and(|k| k >= octets.div_ceil(1024))
    }

    /// Whether the printer is done with it, one way or another.
    #[must_use]
    pub fn has_ended(&self) -> bool {
        let ends = [JobState::Canceled, JobState::Aborted, JobState::Completed];
        ends.contains(&self.state)
    }

    /// Whether the printer still waits for the document, or for the rest of it.
    #[must_use]
    pub fn incomplete(&self) -> bool {
        let waits = ["job-incoming", "job-data-insufficient"];
        self.reasons.iter().any(|r| waits.contains(&r.as_str()))
    }
}

/// Why a printer did not do what it was asked.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RemoteError {
    /// No answer.
    #[error(
        "the printer does not answer ({0}); check that it is switched on and in the same network"
    )]
    Unreachable(String),
    /// It is busy or not ready for now.
    #[error("the printer is busy ({0})")]
    Busy(String),
    /// It does not know the job.
    #[error("the printer no longer knows this job")]
    NoJob,
    /// It said no.
    #[error("the printer refused ({0})")]
    Refused(String),
}

/// What the queue asks of a printer.
pub trait Remote {
    /// What it says of itself.
    fn about(&mut self) -> Result<About, RemoteError>;
    /// Makes an empty job, which prints nothing, and returns its number.
    fn create_job(&mut self, ticket: &Ticket, about: &About) -> Result<i32, RemoteError>;
    /// Fills a job: from here on it prints.
    fn send_document(
        &mut self,
        job: i32,
        ticket: &Ticket,
        payload: &Payload,
    ) -> Result<(), RemoteError>;
    /// Where a job of this number and name stands. A printer that was switched off counts from the
    /// beginning again: the number alone may be somebody else's job.
    fn job(&mut self, job: i32, name: &str) -> Result<JobReport, RemoteError>;
    /// The newest job of a name, if the printer still knows one.
    fn find_job(&mut self, name: &str) -> Result<Option<JobReport>, RemoteError>;
    /// Cancels a job; one that has ended is left as it is.
    fn cancel_job(&mut self, job: i32, by: &str) -> Result<(), RemoteError>;
}

/// A printer reached over the network.
#[derive(Debug, Clone)]
pub struct Printer {
    uri: Uri,
    trust: bool,
}

impl Printer {
    /// Finds the printer at an address: the first of [`Address::candidates`] that answers as a
    /// printer, with what it says of itself. `trusted` takes the printer's own certificate as it
    /// is, as most printers sign theirs themselves: for one the user has said to trust.
    ///
    /// # Errors
    /// The first place's answer, if none is a printer.
    pub fn discover(address: &Address, trusted: bool) -> Result<(Address, About), RemoteError> {
        let mut first = None;
        for candidate in address.candidates() {
            let mut printer = Self::at(&candidate)?;
            printer.trust = trusted;
            match printer.about() {
                Ok(about) => return Ok((candidate, about)),
                Err(error @ RemoteError::Unreachable(_)) => return Err(first.unwrap_or(error)),
                Err(error) => first = first.or(Some(error)),
            }
        }
        Err(first.unwrap_or(RemoteError::NoJob))
    }

    /// The printer at an address, or, where that is only a name, wherever on it a printer answers.
    /// `trusted`: as [`Printer::discover`].
    ///
    /// # Errors
    /// No printer answers at a name alone; a whole address is not asked yet.
    pub fn reach(address: &Address, trusted: bool) -> Result<Self, RemoteError> {
        let whole = address.candidates() == std::slice::from_ref(address);
        let mut printer = if whole {
            Self::at(address)?
        } else {
            Self::at(&Self::discover(address, trusted)?.0)?
        };
        printer.trust = trusted;
        Ok(printer)
    }

    /// The printer at exactly this address; nothing is asked yet.
    ///
    /// # Errors
    /// [`RemoteError::Refused`] for an address that is none.
    pub fn at(address: &Address) -> Result<Self, RemoteError> {
        let uri = address
            .as_str()
            .parse()
            .map_err(|_| RemoteError::Refused(format!("{address} is no address")))?;
        Ok(Self { uri, trust: false })
    }

    fn request(
        &self,
        operation: Operation,
        fields: &[(&str, IppValue)],
    ) -> Result<IppRequestResponse, RemoteError> {
        let version = IppVersion::v2_0();
        let mut request =
            IppRequestResponse::new(version, operation, Some(self.uri.clone())).map_err(odd)?;
        for (name, value) in fields {
            let attribute = IppAttribute::with_name(name, value.clone()).map_err(odd)?;
            request
                .attributes_mut()
                .add(DelimiterTag::OperationAttributes, attribute);
        }
        Ok(request)
    }

    fn send(
        &self,
        request: IppRequestResponse,
        wait: Duration,
    ) -> Result<IppRequestResponse, RemoteError> {
        let client = IppClient::builder(self.uri.clone())
            .request_timeout(wait)
            .ignore_tls_errors(self.trust)
            .build();
        let answer = client.send(request).map_err(|error| match error {
            IppError::ClientError(ureq::Error::StatusCode(status)) => of_http(status),
            IppError::ClientError(e) => RemoteError::Unreachable(e.to_string()),
            IppError::IoError(e) => RemoteError::Unreachable(e.to_string()),
            e => odd(e),
        })?;
        let status = answer.header().status_code();
        if status.is_success() {
            return Ok(answer);
        }
        let group = answer
            .attributes()
            .first_of(DelimiterTag::OperationAttributes);
        let said = group
            .and_then(|g| g.get("status-message"))
            .map(texts)
            .unwrap_or_default();
        let said = said
            .into_iter()
            .next()
            .unwrap_or_else(|| status.to_string());
        Err(match status {
            StatusCode::ClientErrorNotFound | StatusCode::ClientErrorGone => RemoteError::NoJob,
            StatusCode::ServerErrorBusy
            | StatusCode::ServerErrorTemporaryError
            | StatusCode::ServerErrorServiceUnavailable
            | StatusCode::ServerErrorNotAcceptingJobs => RemoteError::Busy(said),
            _ => RemoteError::Refused(said),
        })
    }

    fn jobs(&self, which: &str) -> Result<Vec<(String, JobReport)>, RemoteError> {
        let request = self.request(
            Operation::GetJobs,
            &[
                ("which-jobs", keyword(which)?),
                ("limit", IppValue::Integer(LISTED)),
                ("requested-attributes", job_questions()?),
            ],
        )?;
        let answer = self.send(request, ANSWER)?;
        let jobs = answer.attributes().groups_of(DelimiterTag::JobAttributes);
        Ok(jobs
            .filter_map(|group| {
                let find = |name: &str| group.get(name);
                let name = find("job-name").map(texts)?.into_iter().next()?;
                Some((name, report(find)?))
            })
            .collect())
    }
}

impl Remote for Printer {
    fn about(&mut self) -> Result<About, RemoteError> {
        let asked = IppValue::Array(vec![keyword("all")?, keyword("media-col-database")?]);
        let request = self.request(
            Operation::GetPrinterAttributes,
            &[("requested-attributes", asked)],
        )?;
        let answer = match self.send(request, ANSWER) {
            Err(RemoteError::NoJob) => return Err(nothing_here()),
            answer => answer?,
        };
        let groups: Vec<_> = answer
            .attributes()
            .groups_of(DelimiterTag::PrinterAttributes)
            .collect();
        if groups.is_empty() {
            return Err(RemoteError::Refused("it says nothing of itself".into()));
        }
        Ok(About::of(&groups))
    }

    fn create_job(&mut self, ticket: &Ticket, about: &About) -> Result<i32, RemoteError> {
        let mut request = self.request(
            Operation::CreateJob,
            &[
                ("requesting-user-name", name(&ticket.by)?),
                ("job-name", name(&ticket.name)?),
            ],
        )?;
        let mut add = |name: &str, value: IppValue| -> Result<(), RemoteError> {
            let attribute = IppAttribute::with_name(name, value).map_err(odd)?;
            request
                .attributes_mut()
                .add(DelimiterTag::JobAttributes, attribute);
            Ok(())
        };
        // By its name where the printer names it, else by its size; never by both (PWG 5100.7).
        let named = |n: &&String| size_of_name(n) == Some(ticket.media) && !n.starts_with("custom");
        match about.media_names.iter().find(named) {
            Some(name) => add("media", keyword(name)?)?,
            None => {
                let size = collection([
                    ("x-dimension", IppValue::Integer(ticket.media.width)),
                    ("y-dimension", IppValue::Integer(ticket.media.height)),
                ])?;
                add("media-col", collection([("media-size", size)])?)?;
            }
        }
        if ticket.copies > 1 {
            add(
                "copies",
                IppValue::Integer(i32::try_from(ticket.copies).unwrap_or(i32::MAX)),
            )?;
        }
        // True scale: a printer that can be told is told not to fit the page.
        if about.scaling.iter().any(|s| s == "none") {
            add("print-scaling", keyword("none")?)?;
        }
        if about.knows("sides") {
            add("sides", keyword("one-sided")?)?;
        }
        let answer = self.send(request, ANSWER)?;
        let group = answer.attributes().first_of(DelimiterTag::JobAttributes);
        let id = group
            .and_then(|g| g.get("job-id"))
            .and_then(|a| integers(a).first().copied());
        id.ok_or_else(|| RemoteError::Refused("it gave the job no number".into()))
    }

    fn send_document(
        &mut self,
        job: i32,
        ticket: &Ticket,
        payload: &Payload,
    ) -> Result<(), RemoteError> {
        let mut request = self.request(
            Operation::SendDocument,
            &[
                ("job-id", IppValue::Integer(job)),
                ("requesting-user-name", name(&ticket.by)?),
                ("document-name", name(&ticket.name)?),
                (
                    "document-format",
                    IppValue::new_mime_media_type(payload.format).map_err(odd)?,
                ),
                ("last-document", IppValue::Boolean(true)),
            ],
        )?;
        *request.payload_mut() = IppPayload::new(Cursor::new(payload.bytes.clone()));
        self.send(request, TAKING).map(|_| ())
    }

    fn job(&mut self, job: i32, name: &str) -> Result<JobReport, RemoteError> {
        let request = self.request(
            Operation::GetJobAttributes,
            &[
                ("job-id", IppValue::Integer(job)),
                ("requested-attributes", job_questions()?),
            ],
        )?;
        let answer = self.send(request, ANSWER)?;
        let group = answer.attributes().first_of(DelimiterTag::JobAttributes);
        let find = |attribute: &str| group.and_then(|g| g.get(attribute));
        let named = find("job-name").map(texts).unwrap_or_default();
        if named.first().is_some_and(|is| is != name) {
            return Err(RemoteError::NoJob);
        }
        report(find).ok_or_else(|| RemoteError::Refused("it says nothing of the job".into()))
    }

    fn find_job(&mut self, name: &str) -> Result<Option<JobReport>, RemoteError> {
        for which in ["not-completed", "completed"] {
            let jobs = self.jobs(which)?;
            if let Some((_, job)) = jobs
                .into_iter()
                .filter(|(n, _)| n == name)
                .max_by_key(|(_, j)| j.id)
            {
                return Ok(Some(job));
            }
        }
        Ok(None)
    }

    fn cancel_job(&mut self, job: i32, by: &str) -> Result<(), RemoteError> {
        let request = self.request(
            Operation::CancelJob,
            &[
                ("job-id", IppValue::Integer(job)),
                ("requesting-user-name", name(by)?),
            ],
        )?;
        match self.send(request, ANSWER) {
            // It has ended already, or was never known: what became of it is asked next.
            Ok(_) | Err(RemoteError::Refused(_) | RemoteError::NoJob) => Ok(()),
            Err(error) => Err(error),
        }
    }
}

/// What an answer of HTTP means that carries none of IPP (RFC 9110, section 15).
fn of_http(status: u16) -> RemoteError {
    match status {
        401 | 403 => {
            RemoteError::Refused("it asks for a password, or does not let this device in".into())
        }
        426 => {
            RemoteError::Refused("it answers only encrypted: write its address with ipps://".into())
        }
        408 | 429 | 500.. => RemoteError::Busy(format!("HTTP {status}")),
        404 | 405 | 410 => nothing_here(),
        _ => RemoteError::Refused(format!("HTTP {status}")),
    }
}

fn nothing_here() -> RemoteError {
    RemoteError::Refused("nothing prints at this address".into())
}

fn odd(error: impl std::fmt::Display) -> RemoteError {
    RemoteError::Refused(error.to_string())
}

fn keyword(text: &str) -> Result<IppValue, RemoteError> {
    IppValue::new_keyword(text).map_err(odd)
}

/// A name of at most 255 bytes, cut at a character.
fn name(text: &str) -> Result<IppValue, RemoteError> {
    let end = (0..=text.len().min(255))
        .rev()
        .find(|i| text.is_char_boundary(*i));
    IppValue::new_name_without_language(&text[..end.unwrap_or(0)]).map_err(odd)
}

fn collection<const N: usize>(members: [(&str, IppValue); N]) -> Result<IppValue, RemoteError> {
    let members = members
        .into_iter()
        .map(|(name, value)| Ok((name.try_into().map_err(odd)?, value)));
    Ok(IppValue::Collection(
        members.collect::<Result<_, RemoteError>>()?,
    ))
}

fn job_questions() -> Result<IppValue, RemoteError> {
    let names = [
        "job-id",
        "job-name",
        "job-state",
        "job-state-reasons",
        "job-impressions-completed",
        "job-k-octets",
    ];
    Ok(IppValue::Array(
        names.iter().map(|n| keyword(n)).collect::<Result<_, _>>()?,
    ))
}

fn report<'a>(find: impl Fn(&str) -> Option<&'a IppAttribute>) -> Option<JobReport> {
    let number = |name: &str| find(name).and_then(|a| integers(a).first().copied());
    let state = match number("job-state")? {
        3 | 4 => JobState::Pending,
        5 => JobState::Processing,
        6 => JobState::Stopped,
        7 => JobState::Canceled,
        8 => JobState::Aborted,
        9 => JobState::Completed,
        _ => return None,
    };
    Some(JobReport {
        id: number("job-id")?,
        state,
        reasons: find("job-state-reasons").map(texts).unwrap_or_default(),
        printed: number("job-impressions-completed"),
        k_octets: number("job-k-octets"),
    })
}
