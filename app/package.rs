//! The sealed package of an order for its lab: what lies in the store is gathered first, so that
//! typesetting and sealing can go on elsewhere.

use crate::error::AppError;
use crate::records::{Records, device_name};
use crate::visits::Foot;
use crate::{clock, papers, sources};
use plinthside_exchange::{Devices, PackInputs, Package, Sender};
use plinthside_paper::Paper;
use plinthside_visit::person::Lab;
use std::sync::Mutex;

/// What a package is made of besides the visit.
pub struct ForLab {
    lab: Lab,
    sender: Sender,
    photographs: Vec<Vec<u8>>,
}

impl ForLab {
    /// Name of the lab.
    #[must_use]
    pub fn lab(&self) -> &str {
        &self.lab.name
    }

    /// The photographs of the cast, out of the store, and who sends.
    ///
    /// # Errors
    /// A photograph is missing, or the store can't be read.
    pub fn gather(records: &mut Records, foot: &Foot<'_>, lab: Lab) -> Result<Self, AppError> {
        let photos = foot
            .cast()
            .map_or(&[][..], |cast| &cast.sources.photographs);
        let photographs = photos
            .iter()
            .map(|photo| sources::bytes_of(records, photo))
            .collect::<Result<_, _>>()?;
        let store = Mutex::new(records.store());
        Ok(Self {
            lab,
            sender: Devices(&store).sender(&device_name())?,
            photographs,
        })
    }

    /// The package of one foot's order, papers included.
    ///
    /// # Errors
    /// The order is not signed, nothing can be printed of it, or the lab has no key.
    pub fn seal(&self, foot: &Foot<'_>, with_name: bool) -> Result<Package, AppError> {
        let today = clock::today();
        let (order, _) = foot.order()?;
        let order_pdf = papers::order(foot, Paper::A4, today)?.pdf()?;
        let bench_pdf = match foot.results() {
            Ok(_) => Some(papers::bench(foot, Paper::A4, today)?.pdf()?),
            Err(_) => None,
        };
        Ok(plinthside_exchange::pack(&PackInputs {
            visit: foot.visit,
            order: &order.id,
            clinic: foot.clinic,
            lab: &self.lab,
            sender: &self.sender,
            order_pdf: &order_pdf,
            bench_pdf: bench_pdf.as_deref(),
            photographs: &self.photographs,
            with_name,
            at: clock::now(),
            lang: foot.clinic.lang,
        })?)
    }
}
