// Holds a FHIR bundle against the published R4 definitions, and prints what is wrong with it as one line each.
import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.context.support.DefaultProfileValidationSupport;
import ca.uhn.fhir.validation.FhirValidator;
import ca.uhn.fhir.validation.SingleValidationMessage;
import ca.uhn.fhir.validation.ValidationResult;
import java.nio.file.Files;
import java.nio.file.Path;
import org.hl7.fhir.common.hapi.validation.support.CommonCodeSystemsTerminologyService;
import org.hl7.fhir.common.hapi.validation.support.InMemoryTerminologyServerValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.ValidationSupportChain;
import org.hl7.fhir.common.hapi.validation.validator.FhirInstanceValidator;

public class FhirJudge {
    public static void main(String[] args) throws Exception {
        FhirContext context = FhirContext.forR4();
        ValidationSupportChain known = new ValidationSupportChain(
            new DefaultProfileValidationSupport(context),
            new CommonCodeSystemsTerminologyService(context),
            new InMemoryTerminologyServerValidationSupport(context));
        FhirValidator validator = context.newValidator();
        validator.registerValidatorModule(new FhirInstanceValidator(known));
        ValidationResult result = validator.validateWithResult(Files.readString(Path.of(args[0])));
        for (SingleValidationMessage message : result.getMessages()) {
            System.out.println(message.getSeverity() + "\t" + message.getLocationString() + "\t" + message.getMessage());
        }
        System.out.println(result.isSuccessful() ? "valid" : "not valid");
    }
}
